"""A spot that nobody has checked for too long, and a check that failed, become events and end again."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from calibrate.samples import Flag
from exposure.days import day_bounds
from exposure.events import Event, EventKind, Severity
from ingest.check_events import check_events
from ingest.checking import DAY_MS, RunningValue, compare
from ingest.nightly import AFTER_START_MS
from ingest.store.checks import CheckRecord
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, NOON_MS, Board, Rig, calibration, config
from tests.ingest.test_checking import CALIBRATION, check

MADE_MS = day_bounds(CALIBRATION.made_on, "UTC").start_ms
OVERDUE_MS = MADE_MS + 8 * DAY_MS


def judged(
    now_ms: int,
    *checks: CheckRecord,
    opened: tuple[Event, ...] = (),
    every_days: float = 7.0,
    calibrated: bool = True,
) -> list[Event]:
    return check_events(
        "slate",
        checks,
        CALIBRATION if calibrated else None,
        opened,
        now_ms=now_ms,
        every_days=every_days,
        time_zone="UTC",
    )


def at(day: float, one: CheckRecord, check_id: int = 1) -> CheckRecord:
    return replace(one, at_ms=MADE_MS + round(day * DAY_MS), check_id=check_id)


GOOD, DOUBTFUL, BAD = check(3.0, 3.0), check(3.0, 3.5), check(3.0, 4.2)


def test_a_spot_that_was_not_checked_for_a_week_and_a_day_is_told_with_the_moment_it_became_so() -> None:
    assert judged(OVERDUE_MS - 1) == []
    for late_ms in (1, DAY_MS, 300 * DAY_MS):
        [event] = judged(OVERDUE_MS + late_ms)
        assert event.kind is EventKind.CHECK_OVERDUE
        assert (event.severity, event.opened_ms) == (Severity.NOTE, OVERDUE_MS)
        assert event.sentence == (
            "the spot was not compared with a meter since it was calibrated on 2026-02-01, "
            "and a check was due on 2026-02-08"
        )
    assert judged(OVERDUE_MS + DAY_MS, opened=(event,)) == []


def test_a_check_ends_it_and_being_late_again_is_another() -> None:
    [event] = judged(OVERDUE_MS + 1)
    done = at(9, GOOD)
    [closed] = judged(MADE_MS + 9 * DAY_MS + 5, done, opened=(event,))
    assert (closed.identity, closed.closing) == (event.identity, "checked again")
    changes = judged(MADE_MS + 18 * DAY_MS, done, opened=(event,))  # nobody looked in between
    assert [(each.opened_ms, each.is_open) for each in changes] == [
        (OVERDUE_MS, False),
        (MADE_MS + 17 * DAY_MS, True),
    ]
    assert changes[1].evidence["check_id"] == 1
    assert "last compared with a meter on 2026-02-10" in changes[1].sentence


def test_a_failed_check_is_told_at_its_moment_with_its_numbers() -> None:
    failed = at(3, BAD)
    [event] = judged(MADE_MS + 4 * DAY_MS, failed)
    assert event.kind is EventKind.CHECK_OUT
    assert (event.severity, event.opened_ms) == (Severity.TODAY, failed.at_ms)
    assert event.evidence == {
        "due": "2026-02-11",
        "check_id": 1,
        "reference_uvi": 4.2,
        "uvi": failed.uvi,
        "u_uvi": failed.u_uvi,
        "e_n": failed.e_n,
    }
    assert "the check of 2026-02-04 failed: the meter showed 4.2 and the spot 3.0" in event.sentence


def test_a_good_check_ends_a_failed_one_and_a_doubtful_one_neither_begins_nor_ends_it() -> None:
    failed = at(3, BAD)
    [event] = judged(MADE_MS + 4 * DAY_MS, failed)
    assert judged(MADE_MS + 4 * DAY_MS, at(3, DOUBTFUL)) == []
    assert judged(MADE_MS + 5 * DAY_MS, failed, at(5, DOUBTFUL, 2), opened=(event,)) == []
    [closed] = judged(MADE_MS + 5 * DAY_MS, failed, at(5, GOOD, 2), opened=(event,))
    assert closed.closing == "a check since was well"


@pytest.mark.parametrize("how", ["withdrawn", "calibrated anew"])
def test_a_check_that_no_longer_counts_ends_it(how: str) -> None:
    failed = at(3, BAD)
    [event] = judged(MADE_MS + 4 * DAY_MS, failed)
    gone = replace(failed, withdrawn=True) if how == "withdrawn" else replace(failed, calibration="older")
    [closed] = judged(MADE_MS + 4 * DAY_MS, gone, opened=(event,))
    assert how in (closed.closing or "")


def test_a_failed_check_that_was_withdrawn_ends_it_though_the_last_that_counts_is_doubtful() -> None:
    failed = at(3, BAD)
    [event] = judged(MADE_MS + 4 * DAY_MS, failed)
    gone = replace(failed, withdrawn=True)
    for doubtful in (at(2, DOUBTFUL, 2), at(5, DOUBTFUL, 2)):
        [closed] = judged(MADE_MS + 6 * DAY_MS, gone, doubtful, opened=(event,))
        assert closed.closing == "the check no longer counts: it was withdrawn"
    again = at(4, BAD, 3)
    assert judged(MADE_MS + 6 * DAY_MS, gone, again, at(5, DOUBTFUL, 2), opened=(event,)) == []


def test_a_spot_without_a_calibration_or_with_no_checks_asked_for_is_not_reminded() -> None:
    assert judged(OVERDUE_MS + 1, calibrated=False) == []
    assert judged(OVERDUE_MS + 1, every_days=0) == []
    [event] = judged(OVERDUE_MS + 1)
    for how in ({"calibrated": False}, {"every_days": 0.0}):
        [closed] = judged(OVERDUE_MS + 1, opened=(event,), **how)  # type: ignore[arg-type]
        assert not closed.is_open
    assert judged(OVERDUE_MS + 1, every_days=14) == []


def test_an_event_opened_by_a_clock_that_was_ahead_never_closes_before_it_opened() -> None:
    [event] = judged(OVERDUE_MS + 1)
    [closed] = judged(MADE_MS + DAY_MS, opened=(event,))
    assert closed.closed_ms == event.opened_ms


# -- in the daemon


def spot_check(reference_uvi: float, at_ms: int) -> CheckRecord:
    running = RunningValue(at_ms - 60_000, at_ms, 1.8, 0.05, 0.01, 60, Flag(0), steady=True)
    return compare("ledge", running, calibration(), reference_uvi, None, 0.1)


def told(rig: Rig, kind: EventKind) -> list[Event]:
    return [event for event in rig.events() if event.kind is kind]


def test_the_daemon_sees_a_failed_check_and_its_withdrawal_within_ten_seconds(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=1.8))
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    for reference_uvi, n_open in ((3.0, 1), (1.8, 0), (3.0, 1)):
        with Store.open(rig.store_path) as store:
            number = store.checks.add(spot_check(reference_uvi, rig.clock.moment().wall_ms))
        rig.run(11)
        assert len([event for event in told(rig, EventKind.CHECK_OUT) if event.is_open]) == n_open
    with Store.open(rig.store_path) as store:
        store.checks.withdraw("ledge", number)
    rig.run(11)
    assert [event.is_open for event in told(rig, EventKind.CHECK_OUT)] == [False, False]
    rig.finish()


def test_a_reminder_closed_by_hand_does_not_come_back(tmp_path: Path) -> None:
    old = replace(calibration(), made_on=date(2026, 5, 10))
    rig = Rig(tmp_path / "s.db", Board(uvi=1.8, cadence_ms=10_000), calibrations={"ledge": old})
    rig.start()
    rig.plug("rock-1")
    rig.run(AFTER_START_MS / 1000 + 20, step_ms=10_000)
    [event] = told(rig, EventKind.CHECK_OVERDUE)
    assert event.opened_ms == day_bounds(date(2026, 5, 18), "UTC").start_ms
    with Store.open(rig.store_path) as store:
        store.events.put(event.closed(rig.clock.moment().wall_ms, "by hand"))
    rig.run(7_200, step_ms=10_000)
    rig.finish()
    assert told(rig, EventKind.CHECK_OVERDUE) == [event.closed(NOON_MS + 620_000, "by hand")]


@pytest.mark.parametrize(("text", "calibrated"), [("rules = { check_every_days = 0 }\n", True), ("", False)])
def test_the_daemon_reminds_nobody_who_did_not_ask(tmp_path: Path, text: str, calibrated: bool) -> None:
    old = replace(calibration(), made_on=date(2025, 12, 1))
    rig = Rig(
        tmp_path / "s.db",
        Board(uvi=1.8, cadence_ms=10_000),
        settings=config(CONFIG + text),
        calibrations={"ledge": old} if calibrated else {},
    )
    rig.start()
    rig.plug("rock-1")
    rig.run(AFTER_START_MS / 1000 + 20, step_ms=10_000)
    rig.finish()
    assert told(rig, EventKind.CHECK_OVERDUE) == []
