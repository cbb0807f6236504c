"""The levels that a spot's sensor shows now, read from the store while a daemon writes it."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from calibrate.arrays import FlagArray, FloatArray, IntArray
from firmware_host.messages import Mark
from ingest.derive import sensor_columns
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

TEMPERATURE = "temperature_c"
_NO_LIGHT = ("_c", "_percent", "_hpa", "_v")


@dataclass(frozen=True, slots=True)
class Levels:
    """Readings of one sensor in time order: `utc_ms`, `marks` (n,); `values` (n, k), NaN where not said."""

    channels: tuple[str, ...]
    utc_ms: IntArray
    values: FloatArray
    marks: FlagArray

    def __len__(self) -> int:
        return len(self.utc_ms)

    def of(self, channel: str) -> FloatArray:
        """Return one channel (n,); NaN throughout if there is none of that name."""
        if channel not in self.channels:
            return np.full(len(self), np.nan)
        return self.values[:, self.channels.index(channel)]

    def since(self, from_ms: int) -> "Levels":
        """Return those from `from_ms` on."""
        first = int(np.searchsorted(self.utc_ms, from_ms))
        return Levels(self.channels, self.utc_ms[first:], self.values[first:], self.marks[first:])

    def faultless(self) -> "Levels":
        """Return them without readings at which the board says that the sensor did not answer."""
        good = (self.marks & np.uint32(Mark.FAULT)) == 0
        return Levels(self.channels, self.utc_ms[good], self.values[good], self.marks[good])


def joined_in_time(earlier: Levels, later: Levels) -> Levels:
    """Return both, one after the other."""
    if len(earlier) == 0 or len(later) == 0:
        return later if len(earlier) == 0 else earlier
    channels = tuple(dict.fromkeys((*earlier.channels, *later.channels)))
    return Levels(
        channels,
        np.concatenate((earlier.utc_ms, later.utc_ms)),
        np.concatenate(
            [np.column_stack([part.of(channel) for channel in channels]) for part in (earlier, later)]
        ),
        np.concatenate((earlier.marks, later.marks)),
    )


NO_LEVELS = Levels((), np.empty(0, np.int64), np.empty((0, 0)), np.empty(0, np.uint32))


class SpotLevels:
    """Reads a spot's levels out of the store, from any moment or as they come."""

    def __init__(self, store: Path, board: str, sensor: str | None) -> None:
        self._store = Store.open(store, read_only=True)
        self._board = board
        self._sensor = sensor
        extent = self._store.readings.extent(board)
        self._next_ms = 0 if extent is None else extent[1] + 1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._store.close()

    def between(self, from_ms: int, to_ms: int) -> Levels:
        """Return what is stored of [from_ms, to_ms)."""
        return joined_levels(self._store.readings.between(self._board, from_ms, to_ms), self._sensor)

    def latest(self, seconds: float) -> Levels:
        """Return what is stored of the seconds up to the newest reading."""
        return self.between(self._next_ms - round(1000 * seconds), self._next_ms)

    def new(self) -> Levels:
        """Return what has come since the last call, or since this was opened."""
        found = self.between(self._next_ms, 2**53)
        if len(found):
            self._next_ms = int(found.utc_ms[-1]) + 1
        return found


def joined_levels(batches: Iterable[StampedBatch], sensor: str | None) -> Levels:
    """Return what one sensor says in several batches, in time order."""
    parts = [(batch, sensor_columns(batch, sensor)) for batch in batches if len(batch)]
    if not parts:
        return NO_LEVELS
    channels = tuple(dict.fromkeys(name for _, columns in parts for name in columns))
    values = np.concatenate(
        [
            np.column_stack([columns.get(name, np.full(len(batch), np.nan)) for name in channels])
            for batch, columns in parts
        ]
    )
    utc_ms = np.concatenate([batch.utc_ms for batch, _ in parts])
    marks = np.concatenate([batch.marks for batch, _ in parts])
    order = np.argsort(utc_ms, kind="stable")
    return Levels(channels, utc_ms[order], values[order], marks[order])


def light_channels(channels: Iterable[str]) -> tuple[str, ...]:
    """Return the channels that may see light: not temperatures, humidity, pressure or supply voltage."""
    return tuple(channel for channel in channels if not channel.endswith(_NO_LIGHT))
