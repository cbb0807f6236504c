"""A day on record of which readings come late: made and judged anew, nobody told twice, live as replayed."""

import io
from collections.abc import Callable
from pathlib import Path

import pytest

from exposure.days import day_bounds
from exposure.events import Event, EventKind
from firmware_host.capture import CaptureWriter
from ingest.late_days import LateDays
from ingest.mqtt.payloads import Change
from ingest.nightly import AFTER_START_MS, LATE_QUIET_MS
from ingest.replay import replay
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from tests.ingest.nights import MIDNIGHT_MS, of_kind, room
from tests.ingest.rig import CONFIG, TODAY, Board, Rig, config

IN_THE_EVENING = CONFIG + 'lit_from = "23:10"\nlit_until = "23:50"\nrules = { dose_low_uvi_h = 0.8 }\n'
BEGAN_MS = MIDNIGHT_MS - 3_600_000
MONO_MS = 10_000_000
CUT_MS = MONO_MS + 1_500_000
"""When the cable is pulled: 23:25."""

Light = Callable[[float], float]


def to_outbox(event: Event, change: Change) -> OutgoingMessage:
    return OutgoingMessage("event", f"{change.value} {event.identity}".encode(), qos=1, retain=False)


def lit(mono_ms: float, before: float, after: float) -> float:
    if not 600_000 <= mono_ms - MONO_MS < 3_000_000:
        return 0.0
    return before if mono_ms < CUT_MS else after


def bright_unseen(mono_ms: float) -> float:
    return lit(mono_ms, 0.4, 3.0)


def dark_unseen(mono_ms: float) -> float:
    return lit(mono_ms, 1.5, 0.0)


def dim_unseen(mono_ms: float) -> float:
    return lit(mono_ms, 0.4, 0.8)


def steady_unseen(mono_ms: float) -> float:
    return lit(mono_ms, 3.0, 3.0)


def evening(tmp_path: Path, light: Light) -> Rig:
    """Run to some minutes after the day was judged, with the cable out since 23:25."""
    rig = room(tmp_path, IN_THE_EVENING, at_ms=BEGAN_MS, event_message=to_outbox)
    rig.boards["rock-1"] = Board(cadence_ms=20_000, uvi=light)
    rig.start()
    rig.plug("rock-1")
    rig.run(1_500, step_ms=20_000)
    rig.unplug("rock-1", keep_power=True)
    rig.run(3_600, step_ms=20_000)
    return rig


def late(rig: Rig) -> None:
    """Put the cable in again, and run until what the board remembers has been judged."""
    rig.plug("rock-1")
    rig.run(LATE_QUIET_MS / 1000 + 120, step_ms=5_000)


def said(store: Store) -> list[str]:
    messages = [message.message.payload.decode() for message in store.outbox.pending(999)]
    return [text for text in messages if "dose" in text]


def everything(store: Store) -> tuple[object, ...]:
    events = [store.events.history(event.identity) for event in store.events.between(0, 1 << 52)]
    return events, store.judged.standing("ledge"), store.judged.through("ledge")


def test_an_event_that_late_readings_refute_closes_when_they_are_judged(tmp_path: Path) -> None:
    rig = evening(tmp_path, bright_unseen)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.is_open
    late(rig)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.closed_ms is not None
    assert event.closed_ms > MIDNIGHT_MS + 1_500_000 + LATE_QUIET_MS
    assert said(rig.store) == [f"opened {event.identity}", f"closed {event.identity}"]
    [row] = rig.store.days.between("ledge", TODAY.isoformat(), TODAY.isoformat())
    assert '"coverage":0.04' in row.profile
    rig.finish()


def test_what_only_late_readings_show_is_told_when_they_are_judged(tmp_path: Path) -> None:
    rig = evening(tmp_path, dark_unseen)
    assert of_kind(rig.events(), EventKind.DOSE_LOW) == []
    late(rig)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.is_open
    assert event.opened_ms > MIDNIGHT_MS + 1_500_000
    assert event.evidence["date"] == TODAY.isoformat()
    assert said(rig.store) == [f"opened {event.identity}"]
    rig.finish()


def test_an_event_that_goes_on_says_what_is_known_now_and_nobody_is_told_again(tmp_path: Path) -> None:
    rig = evening(tmp_path, dim_unseen)
    [before] = of_kind(rig.events(), EventKind.DOSE_LOW)
    late(rig)
    [after] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert (after.identity, after.opened_ms, after.is_open) == (before.identity, before.opened_ms, True)
    assert float(str(after.evidence["dose_uvi_h"])) > 2 * float(str(before.evidence["dose_uvi_h"]))
    assert after.sentence != before.sentence
    assert said(rig.store) == [f"opened {before.identity}"]
    rig.finish()


@pytest.mark.parametrize("light", [bright_unseen, dark_unseen, dim_unseen, steady_unseen])
def test_a_capture_judges_late_readings_as_the_live_run_did(tmp_path: Path, light: Light) -> None:
    rig = evening(tmp_path, light)
    late(rig)
    rig.finish()
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    for item in rig.traffic:
        writer.write(item)
    with rig.look() as store:
        live = everything(store)
    with Store.open(tmp_path / "again.db") as store:
        for _ in range(2):  # the same again adds nothing
            replay(rig.settings, rig.calibrations, store, io.BytesIO(stream.getvalue()))
            assert everything(store) == live


@pytest.mark.parametrize("runs_s", [[60], [200], [60, 300]])
def test_what_came_late_and_was_not_judged_any_more_is_judged_by_the_next_run(
    tmp_path: Path, runs_s: list[int]
) -> None:
    rig = evening(tmp_path, bright_unseen)
    for run_s in runs_s:  # time enough to make its record anew, but not to judge it
        rig.plug("rock-1")
        rig.run(run_s, step_ms=5_000)
        rig.die()
        [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
        assert event.is_open
        rig.boards["rock-1"].link = None
        rig.start()
    rig.plug("rock-1")
    rig.run(AFTER_START_MS / 1000 + 60, step_ms=15_000)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert not event.is_open
    rig.finish()


def test_a_day_that_is_being_judged_anew_when_the_clock_is_set_is_due_again(tmp_path: Path) -> None:
    day = day_bounds(TODAY, "UTC")
    with Store.open(tmp_path / "s.db") as store:
        late = LateDays(store, config(), None)
        late.judged("ledge", day)
        late.came("rock-1", day.start_ms, MIDNIGHT_MS)
        assert late.take("ledge", MIDNIGHT_MS) == (day, MIDNIGHT_MS)
        assert late.take("ledge", MIDNIGHT_MS) is None
        late.restamp(1_000, MIDNIGHT_MS)
        assert late.holds("ledge", TODAY)
        assert late.take("ledge", MIDNIGHT_MS + 1_000) == (day, MIDNIGHT_MS + 1_000)
        late.judged("ledge", day)
        assert not late.holds("ledge", TODAY)
        late.restamp(1_000, MIDNIGHT_MS)
        assert late.take("ledge", MIDNIGHT_MS + 2_000) is None


def test_readings_of_a_day_that_was_never_judged_are_not_judged(tmp_path: Path) -> None:
    rig = room(tmp_path, IN_THE_EVENING, at_ms=MIDNIGHT_MS - 600_000)
    rig.boards["rock-1"] = Board(cadence_ms=20_000, uvi=0.2)
    rig.clock.advance_ms(1_200_000)  # ten past midnight: the board remembers the evening
    rig.start()
    rig.plug("rock-1")
    rig.run(3_000, step_ms=15_000)
    assert of_kind(rig.events(), EventKind.DOSE_LOW) == []
    rig.finish()
