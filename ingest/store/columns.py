"""Readings of one stream as bare arrays, the form in which rows of the store hold them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FlagArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one stream: `seq`, `utc_ms`, `marks` (n,), `values` (n, channels)."""

    seq: IntArray
    utc_ms: IntArray
    marks: FlagArray
    values: FloatArray

    def __len__(self) -> int:
        return len(self.seq)

    def some(self, places: slice | NDArray[np.intp]) -> "Columns":
        """Return the readings at `places`."""
        return Columns(self.seq[places], self.utc_ms[places], self.marks[places], self.values[places])

    def shifted(self, delta_ms: int) -> "Columns":
        """Return them with `delta_ms` added to their times."""
        return self if delta_ms == 0 else replace(self, utc_ms=self.utc_ms + delta_ms)

    def without_mark(self, mark: int) -> "Columns":
        """Return them without a bit of `marks`."""
        return replace(self, marks=self.marks & np.uint32(~mark & 0xFFFFFFFF))

    def in_sequence(self) -> "Columns":
        """Return them in order of sequence number."""
        if (self.seq[1:] > self.seq[:-1]).all():
            return self
        return self.some(np.argsort(self.seq, kind="stable"))

    def in_time_order(self) -> "Columns":
        """Return them in order of time, and of sequence number where times are equal."""
        if (self.utc_ms[1:] > self.utc_ms[:-1]).all():
            return self
        return self.some(np.lexsort((self.seq, self.utc_ms)))

    def extent_ms(self) -> tuple[int, int]:
        """Return the first and the last time."""
        return int(self.utc_ms.min()), int(self.utc_ms.max())


def join(parts: Sequence[Columns]) -> Columns:
    """Return the readings of all `parts`, one part after the other."""
    if len(parts) == 1:
        return parts[0]
    return Columns(
        np.concatenate([part.seq for part in parts]),
        np.concatenate([part.utc_ms for part in parts]),
        np.concatenate([part.marks for part in parts]),
        np.concatenate([part.values for part in parts]),
    )
