"""Readings turned into arrays, before they have a place in time."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FlagArray, FloatArray, IntArray
from firmware_host.messages import Reading


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one boot of one board as arrays of one length n; `values` (n, len(channels)).

    `arrived_ms` is when the host read them, on its monotonic axis.
    """

    channels: tuple[str, ...]
    seq: IntArray
    board_ms: IntArray
    arrived_ms: IntArray
    values: FloatArray
    marks: FlagArray

    def __len__(self) -> int:
        return len(self.seq)

    def pick(self, which: NDArray[np.bool_] | NDArray[np.intp] | slice) -> "Columns":
        """Return some of the readings."""
        return Columns(
            self.channels,
            self.seq[which],
            self.board_ms[which],
            self.arrived_ms[which],
            self.values[which],
            self.marks[which],
        )


def tabulate(readings: Sequence[Reading], arrived_ms: int, layout: tuple[str, ...]) -> Columns:
    """Return readings (at least one) as arrays, with the channels of `layout` first and in its order."""
    n = len(readings)
    if n == 1 and readings[0].channels == layout:  # live readings come one by one
        reading = readings[0]
        return Columns(
            layout,
            np.array([reading.seq], np.int64),
            np.array([reading.board_ms], np.int64),
            np.array([arrived_ms], np.int64),
            np.array([reading.values], np.float64),
            np.array([reading.marks], np.uint32),
        )
    _, _, seqs, board_ms, channels, values, marks, _ = zip(*readings, strict=True)
    first: tuple[str, ...] = channels[0]
    if channels.count(first) == n:
        flat = np.fromiter(chain.from_iterable(values), np.float64, n * len(first))
        table, layout = _laid_out(flat.reshape(n, len(first)), first, layout)
    else:
        table, layout = _collected(channels, values, layout)
    return Columns(
        layout,
        np.array(seqs, dtype=np.int64),
        np.array(board_ms, dtype=np.int64),
        np.full(n, arrived_ms, dtype=np.int64),
        table,
        np.array(marks, dtype=np.uint32),
    )


def joined(parts: Sequence[Columns]) -> Columns:
    """Return the readings of all parts (at least one) in order of sequence number."""
    layout = parts[0].channels
    for part in parts[1:]:
        layout = _widened(layout, part.channels)
    tables = [_laid_out(part.values, part.channels, layout)[0] for part in parts]
    seq = np.concatenate([part.seq for part in parts])
    whole = Columns(
        layout,
        seq,
        np.concatenate([part.board_ms for part in parts]),
        np.concatenate([part.arrived_ms for part in parts]),
        np.concatenate(tables),
        np.concatenate([part.marks for part in parts]),
    )
    return whole.pick(np.argsort(seq, kind="stable"))


def _widened(layout: tuple[str, ...], channels: tuple[str, ...]) -> tuple[str, ...]:
    if channels == layout:
        return layout
    return layout + tuple(name for name in channels if name not in layout)


def _laid_out(
    table: FloatArray, channels: tuple[str, ...], layout: tuple[str, ...]
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return `table` with a column for each channel of the layout, widened where it must be."""
    if channels == layout:
        return table, layout
    wide = _widened(layout, channels)
    result = np.full((len(table), len(wide)), np.nan)
    result[:, [wide.index(name) for name in channels]] = table
    return result, wide


def _collected(
    channels: Sequence[tuple[str, ...]], values: Sequence[tuple[float, ...]], layout: tuple[str, ...]
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return the table of readings with different channels."""
    wide = layout
    for names in dict.fromkeys(channels):
        wide = _widened(wide, names)
    position = {name: place for place, name in enumerate(wide)}
    result = np.full((len(values), len(wide)), np.nan)
    for row, names, cells in zip(result, channels, values, strict=True):
        row[[position[name] for name in names]] = cells
    return result, wide
