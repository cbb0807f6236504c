"""The weeks before the demo's day: they are in the store as if a daemon had watched them."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from baskline.scenario import PAST_DAYS, build, give_past
from calibrate.calibration_file import read_calibration
from calibrate.spot_check import Verdict, verdict_of
from exposure.lamps import LampState
from ingest.assigning import read_calibrations
from ingest.checking import check_state
from ingest.config import load_config
from ingest.day_records import DayRecords
from ingest.lamp_views import lamp_views
from ingest.store.store import Store
from ingest.summaries import Summariser
from tests.baskline.invented import past_room

CALIBRATED = ["slate", "crevice", "thyme", "fern"]


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return past_room(tmp_path_factory)


@pytest.fixture(scope="module")
def config(scenario):
    return load_config(scenario.config_file)


@pytest.fixture(scope="module")
def store(config):
    with Store.open(config.bridge.store) as store:
        yield store


@pytest.fixture(scope="module")
def lamps(store, config, scenario):
    yesterday = scenario.day.date - timedelta(days=1)
    return {view.spot: view for view in lamp_views(store, config, yesterday)}


def test_it_ends_where_the_day_begins(store, config, scenario):
    for board in config.boards.values():
        first_ms, last_ms = store.readings.extent(board.identity)
        assert 360_000 <= scenario.day.start_ms - last_ms < 480_000
        assert 0 < first_ms - (scenario.day.start_ms - PAST_DAYS * 86_400_000) < 7_200_000  # clocks changed


def test_a_new_day_of_it_follows_its_evening_without_a_jump(scenario):
    for light in scenario.lights.values():
        noon_ms = scenario.day.start_ms + 12 * 3_600_000
        days_ms = noon_ms - 86_400_000 * np.arange(10)
        assert abs(np.diff(np.log(light.uvi_at(days_ms, integration_ms=20_000)))).max() < 0.25


@pytest.mark.parametrize(
    ("spot", "state", "per_week"),
    [
        ("slate", LampState.FADING, -0.015),
        ("crevice", LampState.FADING, -0.015),
        ("thyme", LampState.STEADY, 0.0),
        ("fern", LampState.RISING, 0.010),
    ],
)
def test_lamps_age_as_invented_and_it_is_found(lamps, spot, state, per_week):
    report = lamps[spot].report
    assert report.state is state
    assert report.per_week_low - 0.001 < per_week < report.per_week_high + 0.001


def test_none_of_them_leaves_its_band_soon(lamps, scenario):
    for spot in CALIBRATED:
        forecasts = lamps[spot].report.forecasts
        assert all(each.earliest > scenario.day.date + timedelta(days=50) for each in forecasts)


def test_a_stone_steps_the_crevice_and_nothing_else(lamps):
    steps = {spot: [(step.date, step.ratio) for step in lamps[spot].report.steps] for spot in CALIBRATED}
    assert steps.pop("crevice") == [(date(2025, 4, 22), pytest.approx(1 / 1.28, rel=0.04))]
    assert not any(steps.values())


def test_the_new_tube_burned_in(lamps):
    thyme = lamps["thyme"]
    (change,) = thyme.changes
    assert change.day == thyme.since == date(2025, 4, 5)
    levels = [day.level_uvi for day in thyme.days]
    assert levels[0] > 1.12 * np.median(levels[14:])


def test_days_are_on_record_and_gaps_are_gaps(store, config, scenario):
    yesterday = scenario.day.date - timedelta(days=1)
    first = scenario.day.date - timedelta(days=PAST_DAYS)
    records = DayRecords(store, config)
    assert len(store.days.between("fern", first.isoformat(), yesterday.isoformat())) == PAST_DAYS
    slate = {record.date: record for record in records.of("slate", first, yesterday)}
    assert len(slate) == PAST_DAYS - 1
    assert date(2025, 4, 14) not in slate
    (cut,) = records.of("fern", date(2025, 5, 6), date(2025, 5, 6))
    assert cut.profile.coverage == pytest.approx(1 - 85 / 1440, abs=0.004)


def test_checks_are_weekly_and_none_is_due_on_the_day(store, config, scenario):
    for spot, calibration in read_calibrations(config).items():
        checks = store.checks.of(spot)
        assert len(checks) == PAST_DAYS // 7
        apart = np.diff([check.at_ms for check in checks]) / 86_400_000
        assert np.all(abs(apart - 7) < 0.05)
        state = check_state(checks, calibration, 0, scenario.day.end_ms)
        assert state.due_ms > scenario.day.end_ms
        assert state.verdict is Verdict.WITHIN
    assert [verdict_of(check.e_n) for check in store.checks.of("slate")].count(Verdict.DOUBTFUL) == 1


def test_calibrations_were_made_before_it_begins(config, scenario):
    first = scenario.day.date - timedelta(days=PAST_DAYS)
    for spot in CALIBRATED:
        assert read_calibration(config.spots[spot].calibration).made_on < first


def test_no_event_is_in_it(store):
    assert list(store.events.between(0, 2**53)) == []


def test_its_minutes_are_those_that_a_daemon_would_make(tmp_path):
    scenario = build(tmp_path)
    config = load_config(scenario.config_file)
    with Store.open(config.bridge.store) as store:
        give_past(store, scenario, days=1)
        assert store.minutes.dirty() == []
        span_ms = scenario.day.start_ms - 86_400_000, scenario.day.start_ms
        given = store.minutes.between("fern", *span_ms)
        # Marks all of it as new: the band is another one.
        spans = store.assignments.timeline("fern", *span_ms)
        store.assignments.record(replace(spans[0].assignment, band="1.0 2.0 3.0"), span_ms[0])
        summariser = Summariser(store)
        while summariser.step(before_ms=scenario.day.end_ms):
            pass
        made = store.minutes.between("fern", *span_ms)
    assert len(given) == 1434
    np.testing.assert_array_equal(given.minute, made.minute)
    np.testing.assert_allclose(given.mean_uvi, made.mean_uvi, rtol=1e-6)
    np.testing.assert_allclose(given.u_uvi, made.u_uvi, rtol=1e-3)
    np.testing.assert_array_equal(given.covered_ms, made.covered_ms)


def test_the_same_seed_gives_the_same_past_and_another_another(tmp_path):
    pasts = []
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        (tmp_path / name).mkdir()
        scenario = build(tmp_path / name, seed)
        with Store.open(load_config(scenario.config_file).bridge.store) as store:
            give_past(store, scenario, days=7)
            batches = store.readings.between("wall-1", 0, 2**53)
            checks = [(check.at_ms, check.uvi, check.reference_uvi) for check in store.checks.of("fern")]
            pasts.append((batches[0].boot, batches[0].values.tobytes(), checks))
    assert pasts[0] == pasts[1]
    assert pasts[0][1] != pasts[2][1]
