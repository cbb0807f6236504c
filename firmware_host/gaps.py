"""Which sequence numbers of one boot of one board have come, which are missing, and what to ask for again."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import IntArray

# Each range stands for a hole that could not be filled.  More of them in one boot than this means a link that
# loses every other line, and holes that old are past every board's memory: the oldest ones are closed.
MAX_RANGES = 4096
# Gaps that may still be filled, at one time.  The oldest is given up first: the board forgets it first.
MAX_GAPS = 256
# A line that is damaged three times in a row will not come.
MAX_TRIES = 3


class SeqRange(NamedTuple):
    """Sequence numbers `first_seq` to `last_seq` inclusive."""

    first_seq: int
    last_seq: int


class SeqSet:
    """Sequence numbers as a set of ranges, bounded in memory."""

    def __init__(self, ranges: Iterable[tuple[int, int]] = ()) -> None:
        """Begin with `ranges`, each (first, last) inclusive, in any order."""
        self._firsts: list[int] = []
        self._lasts: list[int] = []
        for first, last in ranges:
            self.add(first, last)

    @property
    def ranges(self) -> list[SeqRange]:
        """The ranges in order; none touches the next."""
        return [SeqRange(*pair) for pair in zip(self._firsts, self._lasts, strict=True)]

    @property
    def first(self) -> int | None:
        """The lowest member."""
        return self._firsts[0] if self._firsts else None

    @property
    def end(self) -> int:
        """One more than the highest member; 0 when empty."""
        return self._lasts[-1] + 1 if self._lasts else 0

    def add(self, first: int, last: int) -> None:
        """Add `first` to `last` inclusive."""
        if self._lasts and self._lasts[-1] + 1 == first <= last:  # what nearly always happens
            self._lasts[-1] = last
            return
        if first > last:
            raise ValueError(f"no range: {first} to {last}")
        i = bisect_left(self._lasts, first - 1)
        j = bisect_right(self._firsts, last + 1)
        if i < j:
            first = min(first, self._firsts[i])
            last = max(last, self._lasts[j - 1])
        self._firsts[i:j] = [first]
        self._lasts[i:j] = [last]
        if len(self._firsts) > MAX_RANGES:
            del self._firsts[1], self._lasts[0]

    def add_all(self, seqs: IntArray) -> None:
        """Add the members of an increasing array."""
        if not len(seqs):
            return
        breaks = np.flatnonzero(np.diff(seqs) > 1)
        firsts = seqs[np.concatenate(([0], breaks + 1))]
        lasts = seqs[np.concatenate((breaks, [len(seqs) - 1]))]
        for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
            self.add(first, last)

    def contains(self, seqs: IntArray) -> NDArray[np.bool_]:
        """Return for each of `seqs` whether it is a member."""
        if not self._firsts:
            return np.zeros(len(seqs), dtype=np.bool_)
        at = np.searchsorted(np.array(self._firsts), seqs, side="right") - 1
        found: NDArray[np.bool_] = (at >= 0) & (seqs <= np.array(self._lasts)[at])
        return found

    def missing(self, first: int, last: int) -> list[SeqRange]:
        """Return what of `first` to `last` is not in the set, in order."""
        holes = []
        i = bisect_left(self._lasts, first)
        while first <= last:
            if i == len(self._firsts) or self._firsts[i] > last:
                holes.append(SeqRange(first, last))
                break
            if self._firsts[i] > first:
                holes.append(SeqRange(first, self._firsts[i] - 1))
            first = self._lasts[i] + 1
            i += 1
        return holes


class _Gap(NamedTuple):
    first_seq: int
    last_seq: int
    tries: int


class Gaps:
    """Ranges that the board may still be able to replay, in order, and how often each was asked for."""

    def __init__(self) -> None:
        self._gaps: list[_Gap] = []

    def note(self, gap: SeqRange) -> list[SeqRange]:
        """Add a range that is missing; return what has to be given up for it."""
        self._gaps.append(_Gap(*gap, tries=0))
        self._gaps.sort()
        surplus = max(0, len(self._gaps) - MAX_GAPS)
        given_up = self._gaps[:surplus]
        del self._gaps[:surplus]
        return [SeqRange(gap.first_seq, gap.last_seq) for gap in given_up]

    def first_from(self, seq: int) -> int | None:
        """Return the first missing sequence number from `seq` on that may still come."""
        for gap in self._gaps:
            if gap.last_seq >= seq:
                return max(gap.first_seq, seq)
        return None

    def to_ask(self, limit: int) -> SeqRange | None:
        """Return what to ask for next, at most `limit` readings.

        The newest gap goes first, for live readings wait behind it; within it the oldest readings, for the
        board forgets them first.
        """
        if not self._gaps:
            return None
        gap = self._gaps[-1]
        return SeqRange(gap.first_seq, min(gap.last_seq, gap.first_seq + limit - 1))

    def fill(self, have: SeqSet) -> None:
        """Strike out what has come."""
        self._gaps = [
            _Gap(*hole, tries=gap.tries)
            for gap in self._gaps
            for hole in have.missing(gap.first_seq, gap.last_seq)
        ]

    def tried(self, asked: SeqRange) -> list[SeqRange]:
        """Note that asking for `asked` brought no more of it; return what has been tried often enough."""
        return self._split(asked, lambda gap: gap.tries + 1)

    def forget(self, gone: SeqRange) -> list[SeqRange]:
        """Give up what of `gone` is missing, and return it."""
        return self._split(gone, lambda _: MAX_TRIES)

    def _split(self, where: SeqRange, tries: Callable[[_Gap], int]) -> list[SeqRange]:
        """Set the tries of what lies within `where`; take out and return what reaches the limit."""
        kept: list[_Gap] = []
        given_up: list[SeqRange] = []
        for gap in self._gaps:
            first, last = max(gap.first_seq, where.first_seq), min(gap.last_seq, where.last_seq)
            if first > last:
                kept.append(gap)
                continue
            if gap.first_seq < first:
                kept.append(gap._replace(last_seq=first - 1))
            if tries(gap) < MAX_TRIES:
                kept.append(_Gap(first, last, tries(gap)))
            else:
                given_up.append(SeqRange(first, last))
            if last < gap.last_seq:
                kept.append(gap._replace(first_seq=last + 1))
        self._gaps = kept
        return given_up
