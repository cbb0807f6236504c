"""The weeks before the demo's day, put straight into a store: no board speaks, no rule is run."""

import zlib
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Final

import numpy as np

from baskline.scenario.ageing import DAY_MS
from baskline.scenario.light import (
    BOARD_AWAY_MS,
    BOARD_BACK_MS,
    NEW_TUBE_DAY,
    POWER_FAILS_MS,
    POWER_RETURNS_MS,
    TIME_ZONE,
    Watched,
    moment_ms,
)
from baskline.scenario.scenario import RoomBoard, Scenario
from calibrate.arrays import IntArray
from calibrate.calibration import Calibration
from exposure.days import day_bounds
from exposure.room import normal_at
from firmware_host.clock import Moment
from ingest.assigning import read_calibrations, record_assignments
from ingest.checking import compare, running_value
from ingest.config import Config, load_config
from ingest.day_records import AROUND_MS, DayRecords
from ingest.history import History
from ingest.spot_levels import joined_levels
from ingest.store.batch import StampedBatch
from ingest.store.checks import CheckRecord
from ingest.store.dirty import MINUTE_MS
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.store import Store
from ingest.summaries import summarise

PAST_DAYS: Final = 56

# Stretches without a board; all of them fall silent when the power fails.
_SILENCES: Final = {
    "stone-1": ((BOARD_AWAY_MS, BOARD_BACK_MS), (POWER_FAILS_MS, POWER_RETURNS_MS)),
    "meadow-1": ((POWER_FAILS_MS, POWER_RETURNS_MS),),
    "meadow-2": ((POWER_FAILS_MS, POWER_RETURNS_MS),),
    "wall-1": ((POWER_FAILS_MS, POWER_RETURNS_MS),),
}
# Longer than any silence that is bridged: so the day itself is the same with its past and without.
_REST_BEFORE_THE_DAY_MS: Final = 6 * MINUTE_MS
_SUNDAY: Final = 6
_CHECK_FROM_HOUR: Final = 11  # spot by spot, ten minutes each
_CHECK_LASTS_MS: Final = 5 * 60_000
_HAND: Final = 0.02  # how well the invented keeper holds the meter where the sensor is (k = 1)
# Once the sleeve was in the light.
_SLIP: Final = ("slate", date(2025, 4, 20), 0.89)


def give_past(store: Store, scenario: Scenario, days: int = PAST_DAYS) -> None:
    """Put the `days` before the scenario's day into an empty store.

    Readings once a minute with gaps, what follows from them (minutes, days), weekly spot checks with an
    invented meter, and a change of a lamp.  The same scenario gives the same past.
    """
    config = load_config(scenario.config_file)
    first = scenario.day.date - timedelta(days=days)
    start_ms, end_ms = (
        day_bounds(first, TIME_ZONE).start_ms,
        day_bounds(scenario.day.date, TIME_ZONE).start_ms,
    )
    calibrations = read_calibrations(config)
    with store.transaction():
        store.begin_run(Moment(mono_ms=0, wall_ms=start_ms, synchronised=True))
        record_assignments(store, config, calibrations, start_ms)
        for board in scenario.boards:
            store.readings.append(list(_batches(board, start_ms, end_ms - _REST_BEFORE_THE_DAY_MS)))
        _summarise(store, config, first, days)
        _keep_days(store, config, first, days)
        for check in _checks(scenario, config, calibrations, first, days):
            store.checks.add(check)
        if first <= NEW_TUBE_DAY:
            store.lamp_changes.add(
                "meadow_tube",
                NEW_TUBE_DAY,
                LampChangeKind.LAMP,
                "a new tube of the same kind: the old one had come to the low end",
                moment_ms(10, 25, NEW_TUBE_DAY),
            )


def _batches(board: RoomBoard, start_ms: int, end_ms: int) -> Iterator[StampedBatch]:
    """Yield what a board said, a batch for each time that it ran without a break."""
    name = board.model.board
    edges = [start_ms, *(edge for silence in _SILENCES[name] for edge in silence), end_ms]
    for from_ms, to_ms in zip(edges[::2], edges[1::2], strict=True):
        # A board keeps its own minute; no two begin it together.
        begins_ms = max(from_ms, start_ms) + zlib.crc32(name.encode()) % MINUTE_MS
        t_ms = np.arange(begins_ms, min(to_ms, end_ms), MINUTE_MS)
        if len(t_ms):
            yield _batch(board, t_ms)


def _batch(board: RoomBoard, t_ms: IntArray) -> StampedBatch:
    boot = zlib.crc32(f"{board.model.board} {t_ms[0]}".encode())
    return StampedBatch(
        board.model.board,
        f"{boot:08x}",
        board.channels,
        np.arange(len(t_ms)),
        t_ms,
        board.values_at(t_ms),
        np.zeros(len(t_ms), np.uint32),
    )


def _summarise(store: Store, config: Config, first: date, days: int) -> None:
    """Put in the minutes, a day at once: the daemon's small steps would take it long."""
    history = History(store)
    for spot in config.spots:
        for bounds in (day_bounds(first + timedelta(days=n), TIME_ZONE) for n in range(days)):
            start_ms, end_ms = bounds.start_ms, bounds.end_ms
            near = history.samples(spot, start_ms - AROUND_MS, end_ms + AROUND_MS)
            store.minutes.replace(
                spot, start_ms // MINUTE_MS, end_ms // MINUTE_MS, summarise(near, start_ms, end_ms)
            )
    for span in store.minutes.dirty():
        store.minutes.clean(span)


def _keep_days(store: Store, config: Config, first: date, days: int) -> None:
    records = DayRecords(store, config)
    for spot in config.spots:
        for record in records.of(spot, first, first + timedelta(days=days - 1)):
            records.keep(record)


def _checks(
    scenario: Scenario, config: Config, calibrations: dict[str, Calibration], first: date, days: int
) -> Iterator[CheckRecord]:
    """Yield a check of each calibrated spot on each Sunday, with the meter that it was calibrated with."""
    watched = {each.spot: (board, each) for board in scenario.boards for each in board.watched}
    for day in (first + timedelta(days=n) for n in range(days)):
        if day.weekday() != _SUNDAY:
            continue
        for number, (spot, calibration) in enumerate(calibrations.items()):
            board, seen = watched[spot]
            from_ms = moment_ms(_CHECK_FROM_HOUR, 10 * number, day)
            t_ms = np.arange(from_ms, from_ms + _CHECK_LASTS_MS, MINUTE_MS // 6)
            running = running_value(
                joined_levels([_batch(board, t_ms)], seen.prefix or None),
                calibration,
                lamp_kind=config.lamps[config.spots[spot].lamp].kind,
                age_days=(from_ms - moment_ms(0, 0, calibration.made_on)) / DAY_MS,
            )
            step_uvi = calibration.uncertainty.reference_resolution_uvi
            shown_uvi = _meter_uvi(seen, day, t_ms, step_uvi)
            yield compare(spot, running, calibration, shown_uvi, None, step_uvi)


def _meter_uvi(seen: Watched, day: date, t_ms: IntArray, step_uvi: float) -> float:
    """Return what the invented keeper read from the meter's display."""
    chance = float(normal_at(seen.light.lamp.seed, f"meter {seen.spot}", np.array([day.toordinal()]))[0])
    spot, slip_day, slip = _SLIP
    hand = slip if (seen.spot, day) == (spot, slip_day) else 1 + _HAND * chance
    return round(round(float(seen.light.uvi_at(t_ms).mean()) * hand / step_uvi) * step_uvi, 6)
