"""Sets of whole numbers kept as intervals: sequence numbers known, minutes out of date."""

from collections.abc import Iterable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import IntArray
from ingest.store.database import Database

Interval: TypeAlias = tuple[int, int]
"""First and last, both inside."""


def merged(intervals: Iterable[Interval]) -> list[Interval]:
    """Return the same numbers as the fewest intervals, in order; neighbours join."""
    result: list[Interval] = []
    for first, last in sorted(intervals):
        if result and first <= result[-1][1] + 1:
            result[-1] = (result[-1][0], max(last, result[-1][1]))
        else:
            result.append((first, last))
    return result


def intervals_of(numbers: IntArray) -> list[Interval]:
    """Return strictly increasing `numbers`, shape (n,), as intervals."""
    if len(numbers) == 0:
        return []
    breaks = np.flatnonzero(np.diff(numbers) != 1)
    firsts = numbers[np.concatenate(([0], breaks + 1))].tolist()
    lasts = numbers[np.concatenate((breaks, [len(numbers) - 1]))].tolist()
    return list(zip(firsts, lasts, strict=True))


def outside(numbers: IntArray, intervals: Sequence[Interval]) -> NDArray[np.bool_]:
    """Return which of `numbers`, shape (n,), lie in none of the intervals, as `merged` gives them."""
    if not intervals:
        return np.ones(len(numbers), dtype=np.bool_)
    bounds = np.asarray(intervals, dtype=np.int64)
    place = np.searchsorted(bounds[:, 0], numbers, side="right") - 1
    known: NDArray[np.bool_] = (place >= 0) & (numbers <= bounds[place, 1])
    return ~known


class IntervalTable:
    """A table (owner, first, last) that holds such a set for each owner, in SQLite."""

    def __init__(self, database: Database, table: str) -> None:
        self._database = database
        self._touching = f"SELECT first, last FROM {table} WHERE owner = ? AND first <= ? ORDER BY first DESC"  # noqa: S608
        self._all = f"SELECT first, last FROM {table} WHERE owner = ? ORDER BY first"  # noqa: S608
        self._insert = f"INSERT INTO {table} (owner, first, last) VALUES (?, ?, ?)"  # noqa: S608
        self._delete = f"DELETE FROM {table} WHERE owner = ? AND first = ?"  # noqa: S608

    def all(self, owner: int) -> list[Interval]:
        """Return the owner's whole set."""
        return [(first, last) for first, last in self._database.rows(self._all, (owner,))]

    def touching(self, owner: int, first: int, last: int) -> list[Interval]:
        """Return the stored intervals that share a number with `first` to `last`, in order."""
        found: list[Interval] = []
        # They never overlap, so going down from `last` the first one that ends too early ends the search.
        for stored in self._database.walk(self._touching, (owner, last)):
            if stored[1] < first:
                break
            found.append((stored[0], stored[1]))
        return found[::-1]

    def add(self, owner: int, first: int, last: int) -> Interval:
        """Add `first` to `last`; return the interval in which they now lie."""
        joined = self.touching(owner, first - 1, last + 1)
        whole = (
            min(first, joined[0][0]) if joined else first,
            max(last, joined[-1][1]) if joined else last,
        )
        if joined != [whole]:
            self._replace(owner, joined, [whole])
        return whole

    def remove(self, owner: int, first: int, last: int) -> None:
        """Take `first` to `last` out."""
        hit = self.touching(owner, first, last)
        left = [(start, first - 1) for start, _ in hit if start < first]
        left += [(last + 1, end) for _, end in hit if end > last]
        self._replace(owner, hit, left)

    def _replace(self, owner: int, old: list[Interval], new: list[Interval]) -> None:
        self._database.execute_many(self._delete, [(owner, first) for first, _ in old])
        self._database.execute_many(self._insert, [(owner, first, last) for first, last in new])
