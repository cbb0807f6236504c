"""What the end of a day tells, in the daemon: once, the same live and replayed, and right after a wrong clock."""

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from exposure.events import Event, EventKind
from firmware_host.capture import CaptureWriter
from firmware_host.traffic import Quiet
from ingest.assigning import record_assignments
from ingest.nightly import AFTER_START_MS, GRACE_MS
from ingest.replay import replay
from ingest.store.batch import StampedBatch
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, HOUR_MS, NOON_MS, TODAY, Board, Rig, calibration, config, counts

DAY_MS = 24 * HOUR_MS
MIDNIGHT_MS = NOON_MS + 12 * HOUR_MS
"""The end of TODAY, which is when each test's day ends."""
LIT_MS = (8 * HOUR_MS, 18 * HOUR_MS)

Uvi = Callable[[int], float]
"""The level of a day, 0 for TODAY, -1 for the day before it."""


def steady(day: int) -> float:  # noqa: ARG001 - every day alike
    return 1.8


def uvi_at(utc_ms: int, level: Uvi) -> float:
    day = (utc_ms - (NOON_MS - 12 * HOUR_MS)) // DAY_MS
    return level(day) if LIT_MS[0] <= utc_ms % DAY_MS < LIT_MS[1] else 0.0


def readings(
    level: Uvi, from_ms: int, to_ms: int, *, board: str = "rock-1", boot: str = "00000001"
) -> StampedBatch:
    """Return a reading a minute."""
    at = np.arange(from_ms, to_ms, 60_000)
    seen = [[counts(uvi_at(int(ms), level)), 25.0] for ms in at]
    return StampedBatch(
        board,
        boot,
        ("uva_counts", "temperature_c"),
        np.arange(len(at)),
        at,
        np.array(seen),
        np.zeros(len(at), np.uint32),
    )


def with_past(rig: Rig, level: Uvi, *, days: int = 40, until_ms: int = NOON_MS) -> None:
    """Let earlier runs have read, and judged, the days before TODAY, and read TODAY up to `until_ms`."""
    began_ms = NOON_MS - 12 * HOUR_MS - days * DAY_MS
    with Store.open(rig.store_path) as store:
        store.begin_run(replace(rig.clock.moment(), wall_ms=began_ms))
        record_assignments(store, rig.settings, rig.calibrations, began_ms)
        store.readings.append([readings(level, began_ms, until_ms)])
        for spot in rig.settings.spots:
            store.judged.set_through(spot, NOON_MS - 12 * HOUR_MS)


def through_the_night(rig: Rig, level: Uvi, *, hours: float = 13) -> None:
    """Run from noon into the night, at a reading a minute."""
    rig.boards["rock-1"].uvi = lambda at_ms: uvi_at(round(at_ms) + NOON_MS - 10_000_000, level)
    rig.start()
    rig.plug("rock-1")
    rig.run(hours * 3600, step_ms=60_000)
    rig.finish()


def room(tmp_path: Path, text: str = CONFIG) -> Rig:
    return Rig(tmp_path / "s.db", Board(cadence_ms=60_000), settings=config(text))


def of_kind(rig: Rig, kind: EventKind) -> list[Event]:
    return [event for event in rig.events() if event.kind is kind]


def kinds(rig: Rig) -> set[str]:
    return {event.kind.value for event in rig.events()}


def test_a_day_of_little_light_is_told_after_midnight_and_closes_after_a_usual_one(tmp_path: Path) -> None:
    def level(day: int) -> float:
        return 0.5 if day == 0 else 1.8

    rig = room(tmp_path)
    with_past(rig, level)
    through_the_night(rig, level, hours=12 + 24 + 1)
    [event] = of_kind(rig, EventKind.DOSE_LOW)
    assert (event.subject, event.opened_ms, event.closed_ms) == ("ledge", MIDNIGHT_MS, MIDNIGHT_MS + DAY_MS)
    assert "little dose, 5" in event.sentence
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS + DAY_MS


def test_nothing_is_told_of_a_usual_day(tmp_path: Path) -> None:
    rig = room(tmp_path)
    with_past(rig, steady)
    through_the_night(rig, steady)
    assert kinds(rig) == {"board_silent"} or kinds(rig) == set()
    with rig.look() as store:
        assert store.judged.through("ledge") == MIDNIGHT_MS
        [row] = store.days.between("ledge", TODAY.isoformat(), TODAY.isoformat())
        assert row.start_ms == MIDNIGHT_MS - DAY_MS
