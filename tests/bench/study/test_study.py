"""The study itself runs and tells right from wrong; its figures are the README's business."""

import pytest

from exposure.events import EventKind
from tests.bench.study.__main__ import table
from tests.bench.study.judge import judge
from tests.bench.study.run import run
from tests.bench.study.world import PLANS, lamps


@pytest.fixture(scope="module")
def year():
    (lamp,) = lamps(1, [plan for plan in PLANS if plan.name == "stepping up"])
    return run(lamp, days=130)


def test_what_was_made_to_happen_is_told(year):
    verdict = judge(year)
    assert verdict.score(EventKind.LEVEL_STEPPED).told == 1
    for kind, score in verdict.scores.items():
        assert score.told == score.had_to, kind


def test_an_event_without_a_cause_counts_as_false(year):
    calm = year.lamp.__class__(
        year.lamp.plan, year.lamp.level_uvi, year.lamp.ageing_uvi, (0,), (), year.lamp.bias, year.lamp.seed
    )
    verdict = judge(year.__class__(calm, year.events, year.forecasts, year.coverage))
    assert verdict.score(EventKind.BOARD_SILENT).false > 0
    assert verdict.score(EventKind.OVER_CEILING).false > 0


def test_the_same_seed_gives_the_same_year():
    one, other = (lamps(5, PLANS[:1])[0] for _ in range(2))
    assert one.incidents == other.incidents
    assert (one.samples(40).uvi == other.samples(40).uvi).all()


def test_the_table_names_every_kind_and_target(year):
    text = table(judge(year), 1, 130)
    assert "| level_stepped | 1 | 0 | 100 % | 1 | 1 | 100 % |" in text
    assert text.count("at least 14") == 1
