"""Readings on their way to the store: gathered between commits, joined into few batches."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from ingest.store.batch import StampedBatch

_FOR_EVER_MS: Final = 2**53


class Pending:
    """The readings that have come and are not stored yet, and which of them have not been judged yet."""

    def __init__(self) -> None:
        self._waiting: list[StampedBatch] = []
        self._fresh: dict[str, list[StampedBatch]] = {}
        self._due_ms: dict[str, int] = {}
        self._next_due_ms = _FOR_EVER_MS  # none is due before
        self.n_readings = 0

    def add(self, batch: StampedBatch) -> None:
        """Put readings on their way, not to be judged."""
        self._waiting.append(batch)
        self.n_readings += len(batch)

    def add_fresh(self, batch: StampedBatch, judge_by_ms: int) -> None:
        """Put readings on their way that are to be judged by then, on the host's monotonic axis."""
        self.add(batch)
        if batch.board in self._fresh:
            self._fresh[batch.board].append(batch)
        else:
            self._fresh[batch.board] = [batch]
            self._due_ms[batch.board] = judge_by_ms
            self._next_due_ms = min(self._next_due_ms, judge_by_ms)

    def to_judge(self, by_ms: int | None = None) -> list[StampedBatch]:
        """Return what is to be judged by then, or all; each once, also for a judge that fails."""
        if by_ms is not None and by_ms < self._next_due_ms:
            return []
        due = [board for board, ms in self._due_ms.items() if by_ms is None or ms <= by_ms]
        for board in due:
            del self._due_ms[board]
        self._next_due_ms = min(self._due_ms.values(), default=_FOR_EVER_MS)
        return joined([batch for board in due for batch in self._fresh.pop(board)])

    def to_store(self) -> list[StampedBatch]:
        """Return everything."""
        return joined(self._waiting)

    def stored(self) -> None:
        """Forget everything: it is in the store."""
        self._waiting.clear()
        self.n_readings = 0


def joined(batches: Sequence[StampedBatch]) -> list[StampedBatch]:
    """Return the batches, those of one boot with the same channels joined, in the order of their arrival."""
    groups: dict[tuple[str, str, tuple[str, ...]], list[StampedBatch]] = {}
    for batch in batches:
        groups.setdefault((batch.board, batch.boot, batch.channels), []).append(batch)
    return [_one(group) for group in groups.values()]


def _one(group: Sequence[StampedBatch]) -> StampedBatch:
    first = group[0]
    if len(group) == 1:
        return first
    seq = np.concatenate([batch.seq for batch in group])
    whole = StampedBatch(
        first.board,
        first.boot,
        first.channels,
        seq,
        np.concatenate([batch.utc_ms for batch in group]),
        np.concatenate([batch.values for batch in group]),
        np.concatenate([batch.marks for batch in group]),
    )
    if bool(np.all(seq[1:] > seq[:-1])):
        return whole
    order = np.argsort(seq, kind="stable")  # a late batch came in between
    return StampedBatch(
        first.board,
        first.boot,
        first.channels,
        seq[order],
        whole.utc_ms[order],
        whole.values[order],
        whole.marks[order],
    )
