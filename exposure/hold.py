"""Conditions that count only once they have held for a while, followed run by run."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import IntArray
from exposure.segments import BoolArray


class Hold:
    """Since when a condition has held without a break, and at which sample that is long enough."""

    __slots__ = ("_hold_ms", "since_ms")

    def __init__(self, hold_s: float) -> None:
        self._hold_ms = round(hold_s * 1000)
        self.since_ms: int | None = None

    def note(self, holds: bool, at_ms: int) -> None:
        """Take notice that from `at_ms` on the condition holds, or does not."""
        if not holds:
            self.since_ms = None
        elif self.since_ms is None:
            self.since_ms = at_ms

    def due(self, utc_ms: IntArray, begin: int, end: int) -> int:
        """Return the first index of `utc_ms[begin:end]` at which it has held long enough; `end` if none."""
        if self.since_ms is None:
            return end
        if end - begin == 1:  # live samples come one by one
            return begin if utc_ms[begin] >= self.since_ms + self._hold_ms else end
        return begin + int(np.searchsorted(utc_ms[begin:end], self.since_ms + self._hold_ms))

    def forget(self) -> None:
        """Start anew."""
        self.since_ms = None

    def restamp(self, step_ms: int) -> None:
        """Move along with a step of the clock."""
        if self.since_ms is not None:
            self.since_ms += step_ms


def runs(said: NDArray[np.bool_] | NDArray[np.integer[Any]], broken: BoolArray) -> Iterator[tuple[int, int]]:
    """Yield the bounds of the stretches over which `said` stays the same.

    A sample marked in `broken` comes after a long silence and begins a stretch of its own.
    """
    n = len(said)
    if n == 1:
        yield 0, 1
        return
    changes = said[1:] != said[:-1]
    changes |= broken[1:]
    begin = 0
    for end in (np.flatnonzero(changes) + 1).tolist():
        yield begin, end
        begin = end
    yield begin, n
