"""The weeks before the demo's day, put straight into a store: no board speaks, no rule is run."""

import zlib
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Final

import numpy as np

from baskline.scenario.ageing import DAY_MS
from baskline.scenario.light import NEW_TUBE_DAYS, Watched, board_away, power_cut
from baskline.scenario.scenario import RoomBoard, Scenario
from baskline.scenario.setting import Setting, Span
from calibrate.arrays import IntArray
from calibrate.calibration import Calibration
from exposure.counted_noise import normal_at
from exposure.days import local_time_ms
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

# So often that it leaves no gaps beside readings that come quicker.
_TODAY_EVERY_MS: Final = 5_000
# Longer than any silence that is bridged: so the day itself is the same with its past and without.
_REST_BEFORE_THE_DAY_MS: Final = 6 * MINUTE_MS
_CHECK_DAYS_BEFORE: Final = 6  # and each week before that
_CHECK_FROM_HOUR: Final = 11  # spot by spot, ten minutes each
_CHECK_LASTS_MS: Final = 5 * 60_000
_HAND: Final = 0.02  # how well the invented keeper holds the meter where the sensor is (k = 1)
# Once the sleeve was in the light.
_SLIP: Final = ("slate", 27, 0.89)


def give_past(
    store: Store, scenario: Scenario, days: int = PAST_DAYS, *, until_ms: int | None = None
) -> None:
    """Put the `days` before the scenario's day into an empty store, and the day itself up to `until_ms`.

    Readings once a minute with gaps (on the day itself more often), what follows from them (minutes, days),
    weekly spot checks with an invented meter, and a change of a lamp.  The same scenario gives the same past.
    """
    config, setting = load_config(scenario.config_file), scenario.setting
    first = setting.before(days)
    start_ms = setting.moment_ms(0, days_before=days)
    end_ms = setting.moment_ms(0) - (_REST_BEFORE_THE_DAY_MS if until_ms is None else 0)
    calibrations = read_calibrations(config)
    with store.transaction():
        store.begin_run(Moment(mono_ms=0, wall_ms=start_ms, synchronised=True))
        record_assignments(store, config, calibrations, start_ms)
        for board in scenario.boards:
            store.readings.append(list(_batches(board, setting, start_ms, end_ms)))
            if until_ms is not None:
                t_ms = np.arange(setting.moment_ms(0) + _TODAY_EVERY_MS, until_ms, _TODAY_EVERY_MS)
                store.readings.append([_batch(board, t_ms)])
        _summarise(store, config, start_ms, setting.moment_ms(0) if until_ms is None else until_ms)
        _keep_days(store, config, first, days)
        for check in _checks(scenario, config, calibrations, days):
            store.checks.add(check)
        if days >= NEW_TUBE_DAYS:
            store.lamp_changes.add(
                "meadow_tube",
                setting.before(NEW_TUBE_DAYS),
                LampChangeKind.LAMP,
                "a new tube of the same kind: the old one had come to the low end",
                setting.moment_ms(10, 25, days_before=NEW_TUBE_DAYS),
            )


def _silences(board: str, setting: Setting) -> Iterator[Span]:
    """Yield when a board said nothing; all of them fall silent when the power fails."""
    if board == "stone-1":
        yield board_away(setting)
    yield power_cut(setting)


def _batches(board: RoomBoard, setting: Setting, start_ms: int, end_ms: int) -> Iterator[StampedBatch]:
    """Yield what a board said, a batch for each time that it ran without a break."""
    name = board.model.board
    silences = _silences(name, setting)
    edges = [start_ms, *(edge for span in silences for edge in (span.start_ms, span.end_ms)), end_ms]
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


def _summarise(store: Store, config: Config, start_ms: int, end_ms: int) -> None:
    """Put in the minutes, a day at once: the daemon's small steps would take it long."""
    history = History(store)
    last_ms = end_ms // MINUTE_MS * MINUTE_MS
    for spot in config.spots:
        for from_ms in range(start_ms, last_ms, DAY_MS):
            to_ms = min(from_ms + DAY_MS, last_ms)
            near = history.samples(spot, from_ms - AROUND_MS, to_ms + AROUND_MS)
            store.minutes.replace(
                spot, from_ms // MINUTE_MS, to_ms // MINUTE_MS, summarise(near, from_ms, to_ms)
            )
    for span in store.minutes.dirty():
        store.minutes.clean(span)


def _keep_days(store: Store, config: Config, first: date, days: int) -> None:
    records = DayRecords(store, config)
    for spot in config.spots:
        for record in records.of(spot, first, first + timedelta(days=days - 1)):
            records.keep(record)


def _checks(
    scenario: Scenario, config: Config, calibrations: dict[str, Calibration], days: int
) -> Iterator[CheckRecord]:
    """Yield a check of each calibrated spot each week, with the meter that it was calibrated with."""
    setting = scenario.setting
    watched = {each.spot: (board, each) for board in scenario.boards for each in board.watched}
    for days_before in range(days, 0, -1):
        if days_before % 7 != _CHECK_DAYS_BEFORE:
            continue
        for number, (spot, calibration) in enumerate(calibrations.items()):
            board, seen = watched[spot]
            from_ms = setting.moment_ms(_CHECK_FROM_HOUR, 10 * number, days_before=days_before)
            t_ms = np.arange(from_ms, from_ms + _CHECK_LASTS_MS, MINUTE_MS // 6)
            running = running_value(
                joined_levels([_batch(board, t_ms)], seen.prefix or None),
                calibration,
                lamp_kind=config.lamps[config.spots[spot].lamp].kind,
                age_days=(from_ms - local_time_ms(calibration.made_on, 0, setting.time_zone)) / DAY_MS,
            )
            step_uvi = calibration.uncertainty.reference_resolution_uvi
            shown_uvi = _meter_uvi(seen, setting, days_before, t_ms, step_uvi)
            yield compare(spot, running, calibration, shown_uvi, None, step_uvi)


def _meter_uvi(seen: Watched, setting: Setting, days_before: int, t_ms: IntArray, step_uvi: float) -> float:
    """Return what the invented keeper read from the meter's display."""
    day = np.array([setting.before(days_before).toordinal()])
    chance = float(normal_at(seen.light.lamp.seed, f"meter {seen.spot}", day)[0])
    spot, slip_days, slip = _SLIP
    hand = slip if (seen.spot, days_before) == (spot, slip_days) else 1 + _HAND * chance
    return round(round(float(seen.light.uvi_at(t_ms).mean()) * hand / step_uvi) * step_uvi, 6)
