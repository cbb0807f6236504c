"""Weeks of a room's past in a store, and a rig that runs through the night after them."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from exposure.events import Event, EventKind
from firmware_host.clock import ManualClock, Moment
from ingest.assigning import record_assignments
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, HOUR_MS, NOON_MS, Board, Rig, config, counts

DAY_MS = 24 * HOUR_MS
TODAY_MS = NOON_MS - 12 * HOUR_MS
MIDNIGHT_MS = TODAY_MS + DAY_MS
"""The end of TODAY."""
LIT_MS = (8 * HOUR_MS, 18 * HOUR_MS)

Uvi = Callable[[int], float]
"""The level of the lamp on a day: 0 is TODAY, -1 the day before."""


def steady(day: int) -> float:
    return 1.8


def at_once(day: int) -> float:
    return 0.0


def uvi_at(utc_ms: int, level: Uvi, warm_up_min: Uvi = at_once) -> float:
    """Return what the spot has at a time; a lamp that warms up rises evenly."""
    if not LIT_MS[0] <= utc_ms % DAY_MS < LIT_MS[1]:
        return 0.0
    day = (utc_ms - TODAY_MS) // DAY_MS
    warm_up_ms = 60_000 * warm_up_min(day)
    lit_ms = utc_ms % DAY_MS - LIT_MS[0] + 60_000
    return level(day) * (min(1.0, lit_ms / warm_up_ms) if warm_up_ms else 1.0)


def readings(
    level: Uvi,
    from_ms: int,
    to_ms: int,
    *,
    step_ms: int = 60_000,
    boot: int = 1,
    warm_up_min: Uvi = at_once,
) -> StampedBatch:
    """Return what the board read, a reading a minute."""
    at = np.arange(from_ms, to_ms, step_ms)
    noise = 1.5 * np.random.default_rng(boot).standard_normal(len(at))
    seen = np.array([counts(uvi_at(ms, level, warm_up_min)) for ms in at.tolist()]) + np.rint(noise)
    return StampedBatch(
        "rock-1",
        f"{boot:08x}",
        ("uva_counts", "temperature_c"),
        np.arange(len(at)),
        at,
        np.column_stack([seen, np.full(len(at), 25.0)]),
        np.zeros(len(at), np.uint32),
    )


def with_past(
    rig: Rig,
    level: Uvi,
    *,
    days: int = 40,
    until_ms: int = MIDNIGHT_MS - 1_200_000,
    warm_up_min: Uvi = at_once,
) -> None:
    """Let earlier runs have read all up to `until_ms`, and judged the days before TODAY."""
    began_ms = TODAY_MS - days * DAY_MS
    with Store.open(rig.store_path) as store:
        store.begin_run(Moment(0, began_ms, True))
        record_assignments(store, rig.settings, rig.calibrations, began_ms)
        store.readings.append([readings(level, began_ms, until_ms, warm_up_min=warm_up_min)])
        for spot in rig.settings.spots:
            store.judged.set_through(spot, TODAY_MS)


def room(tmp_path: Path, text: str = CONFIG, *, at_ms: int = MIDNIGHT_MS - 1_200_000, **how: object) -> Rig:
    """Return a rig that will begin at `at_ms`, twenty minutes before midnight."""
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=60_000, uvi=0.0), settings=config(text), **how)  # type: ignore[arg-type]
    rig.clock = ManualClock(at_ms, mono_ms=10_000_000)
    return rig


def begin(rig: Rig) -> None:
    rig.start()
    rig.plug("rock-1")


def through_the_night(rig: Rig) -> None:
    """Run until the day has been judged."""
    begin(rig)
    rig.run(2_700, step_ms=15_000)
    rig.finish()


def of_kind(events: list[Event], kind: EventKind) -> list[Event]:
    return [event for event in events if event.kind is kind]
