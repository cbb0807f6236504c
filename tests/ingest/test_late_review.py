"""What happened while the host was away, and is told late, is judged as it would have been in time."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from exposure.events import Event, EventKind
from exposure.kinds import new_event
from firmware_host.clock import Moment
from ingest.late_review import LateReview
from ingest.mqtt.payloads import Change
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from tests.ingest.rig import NOON_MS, Board, Rig

RUN_S = 30
AWAY_S = 3_000


def breach(from_s: float, to_s: float) -> Board:
    """Return a board slow to replay, whose lamp is too strong for a part of the time."""
    start_ms = 10_000_000
    return Board(
        uvi=lambda at_ms: 6.0 if from_s <= (at_ms - start_ms) / 1000 < to_s else 1.8, replay_lines_per_s=60
    )


def over_the_ceiling(rig: Rig) -> list:
    return [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]


def run_with_absence(rig: Rig) -> None:
    rig.plug("rock-1")
    rig.start()
    rig.run(RUN_S)
    rig.finish()
    rig.away(AWAY_S)
    rig.start()
    rig.run(150)


def test_a_breach_in_the_hosts_absence_becomes_an_event_of_the_past(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", breach(600, 1_500))
    run_with_absence(rig)
    rig.finish()
    [event] = over_the_ceiling(rig)
    assert event.opened_ms == pytest.approx(NOON_MS + (600 + 60) * 1000, abs=2_000)
    assert event.closed_ms == pytest.approx(NOON_MS + (1_500 + 300) * 1000, abs=2_000)


def test_its_opening_and_its_closing_are_both_told(tmp_path: Path) -> None:
    told: list[tuple[str, Change]] = []

    def message(event, change):
        told.append((event.kind.value, change))
        return OutgoingMessage("t", b"", 1, False)

    rig = Rig(tmp_path / "s.db", breach(600, 1_500), event_message=message)
    run_with_absence(rig)
    rig.finish()
    assert [change for kind, change in told if kind == "over_ceiling"] == [Change.OPENED, Change.CLOSED]


def test_a_breach_that_was_judged_in_time_is_not_told_again(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", breach(5, 400))
    rig.plug("rock-1")
    rig.start()
    rig.run(120)  # the event has opened
    rig.finish()
    rig.away(AWAY_S)
    rig.start()
    rig.run(500)  # and closes by what is seen now
    rig.finish()
    assert len(over_the_ceiling(rig)) == 1


def test_after_the_review_nothing_is_found_again(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", breach(600, 1_500))
    run_with_absence(rig)
    before = rig.events()
    rig.run(120)
    rig.finish()
    assert rig.events() == before


class Judging:
    """A spot that judges the past as it is told."""

    key, board = "ledge", "rock-1"

    def __init__(self, changes: list[Event]) -> None:
        self._changes = changes

    def judge_past(self, samples: object) -> list[Event]:
        return self._changes


def of_the_past(kind: EventKind, opened_ms: int, closed_ms: int, **evidence: str) -> Event:
    return new_event(kind, "ledge", opened_ms, "so it was", evidence).closed(closed_ms, "over")


def opened(event: Event) -> Event:
    return replace(event, closed_ms=None, closing=None)


def test_nothing_of_an_event_on_record_is_told_again_that_opens_or_closes_otherwise_now(
    tmp_path: Path,
) -> None:
    at_ms = np.arange(NOON_MS, NOON_MS + 3_000_000, 5_000)
    on_record = of_the_past(EventKind.OVER_CEILING, NOON_MS + 600_000, NOON_MS + 900_000)
    anew = of_the_past(EventKind.OVER_CEILING, NOON_MS + 500_000, NOON_MS + 905_000)
    back = of_the_past(EventKind.BACK_IN_BAND, NOON_MS + 905_000, NOON_MS + 905_000, after=anew.identity)
    missed = of_the_past(EventKind.OVER_CEILING, NOON_MS + 2_000_000, NOON_MS + 2_400_000)
    after_it = of_the_past(
        EventKind.BACK_IN_BAND, NOON_MS + 2_400_000, NOON_MS + 2_400_000, after=missed.identity
    )
    with Store.open(tmp_path / "s.db") as store:
        store.events.put(on_record)
        judging = Judging([opened(anew), anew, back, opened(missed), missed, after_it])
        review = LateReview(store, {"ledge": judging})
        review.note("rock-1", at_ms, Moment(0, NOON_MS, True))
        assert review.judge() == [opened(missed), missed, after_it]
