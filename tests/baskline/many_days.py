"""A small room with weeks of readings, one each minute, written straight into its store."""

from collections.abc import Callable, Iterable
from datetime import date, timedelta

import numpy as np

from exposure.days import day_bounds
from firmware_host.clock import Moment
from ingest.assigning import read_calibrations, record_assignments
from ingest.config import Config
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

HOUR_MS = 3_600_000


def fill_days(
    config: Config,
    first: date,
    days: int,
    uvi_of: Callable[[int], float],
    *,
    without: Iterable[int] = (),
    on_h: tuple[float, float] = (8.0, 18.0),
    board: str = "rock-1",
    channels: tuple[str, ...] = ("uva_counts",),
) -> None:
    """Store `days` days on each of which the lamp burns from `on_h` at `uvi_of(number of the day)`.

    Of the days in `without` nothing is stored.
    """
    time_zone = config.bridge.time_zone
    with Store.open(config.bridge.store) as store:
        start_ms = day_bounds(first, time_zone).start_ms
        store.begin_run(Moment(0, start_ms, synchronised=True))
        record_assignments(store, config, read_calibrations(config), start_ms)
        for number in range(days):
            if number in without:
                continue
            bounds = day_bounds(first + timedelta(days=number), time_zone)
            utc_ms = np.arange(bounds.start_ms, bounds.end_ms, 60_000)
            hours = (utc_ms - bounds.start_ms) / HOUR_MS
            lit = (hours >= on_h[0]) & (hours < on_h[1])
            counts = 1000.0 * np.where(lit, uvi_of(number), 0.0)
            batch = StampedBatch(
                board=board,
                boot=f"{number:08x}",
                channels=channels,
                seq=np.arange(len(utc_ms), dtype=np.int64),
                utc_ms=utc_ms,
                values=np.repeat(counts[:, np.newaxis], len(channels), axis=1),
                marks=np.zeros(len(utc_ms), np.uint32),
            )
            with store.transaction():
                store.readings.append([batch])
