"""Another calibration put over a day that was judged: the daemon judges it anew, and nobody is told twice."""

from pathlib import Path

import pytest

from calibrate.calibration_file import format_calibration
from exposure.events import Event, EventKind
from ingest.mqtt.payloads import Change
from ingest.nightly import AFTER_START_MS, LATE_QUIET_MS
from ingest.store.outbox import OutgoingMessage
from tests.ingest.nights import DAY_MS, MIDNIGHT_MS, TODAY_MS, of_kind, room
from tests.ingest.rig import CONFIG, Board, Rig, calibration

IN_THE_EVENING = CONFIG + 'lit_from = "23:10"\nlit_until = "23:50"\nrules = { dose_low_uvi_h = 0.8 }\n'
BEGAN_MS = MIDNIGHT_MS - 3_600_000
MONO_MS = 10_000_000
STRONGER = calibration(0.006)


def to_outbox(event: Event, change: Change) -> OutgoingMessage:
    return OutgoingMessage("event", f"{change.value} {event.identity}".encode(), qos=1, retain=False)


def light(mono_ms: float) -> float:
    return 0.9 if 600_000 <= mono_ms - MONO_MS < 3_000_000 else 0.0


def judged(tmp_path: Path) -> Rig:
    """Run until some minutes after a day of too little light was judged."""
    rig = room(tmp_path, IN_THE_EVENING, at_ms=BEGAN_MS, event_message=to_outbox)
    rig.boards["rock-1"] = Board(cadence_ms=20_000, uvi=light)
    rig.start()
    rig.plug("rock-1")
    rig.run(5_100, step_ms=20_000)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.is_open
    return rig


def recalibrate(rig: Rig, from_ms: int, to_ms: int | None) -> int | None:
    with rig.store.transaction():
        if rig.store.calibrations.get(STRONGER.identity) is None:
            rig.store.calibrations.put(STRONGER.identity, format_calibration(STRONGER))
        return rig.store.assignments.recalibrate("ledge", STRONGER.identity, from_ms, to_ms=to_ms)


def said(rig: Rig) -> list[str]:
    messages = [message.message.payload.decode() for message in rig.store.outbox.pending(999)]
    return [text for text in messages if "dose" in text]


def test_an_event_that_another_calibration_refutes_closes_once_and_opens_when_it_is_taken_back(
    tmp_path: Path,
) -> None:
    rig = judged(tmp_path)
    generation = recalibrate(rig, TODAY_MS, MIDNIGHT_MS)
    assert generation is not None
    rig.run(LATE_QUIET_MS / 1000 + 120, step_ms=5_000)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.closed_ms is not None
    told = [f"opened {event.identity}", f"closed {event.identity}"]
    assert said(rig) == told
    rig.run(DAY_MS / 8_000, step_ms=20_000)
    assert said(rig) == told
    rig.store.assignments.withdraw(generation)
    rig.run(LATE_QUIET_MS / 1000 + 120, step_ms=5_000)
    [_, again] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert again.is_open
    assert said(rig) == [*told, f"opened {again.identity}"]
    rig.finish()


@pytest.mark.parametrize("spot", ["elsewhere", "ledge"])
def test_what_was_put_over_the_past_while_the_daemon_was_away_is_judged_when_it_is_back(
    tmp_path: Path, spot: str
) -> None:
    rig = judged(tmp_path)
    if spot == "ledge":
        recalibrate(rig, TODAY_MS, MIDNIGHT_MS)
    rig.die()
    rig.start()
    rig.run(AFTER_START_MS / 1000 + LATE_QUIET_MS / 1000, step_ms=20_000)
    [event] = of_kind(rig.events(), EventKind.DOSE_LOW)
    assert event.is_open == (spot != "ledge")
    rig.finish()
