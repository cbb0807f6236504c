"""Which readings the store has, so that each is kept once however often it comes."""

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from ingest.store.batch import StampedBatch
from ingest.store.codec import unpack_tail
from ingest.store.database import Database
from ingest.store.intervals import Interval, IntervalTable, intervals_of, merged, outside


class SeenReadings:
    """The sequence numbers known of each boot: table `seen`, and what is still in the tail.

    The tail tells what it holds by itself, so an append writes nothing but its tail row; `persist` moves the
    knowledge into the table before rows leave the tail.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._table = IntervalTable(database, "seen")
        self._of_tail: dict[int, list[Interval]] | None = None
        self._top: dict[int, int] = {}
        database.when_undone.append(self._forget)

    def all(self, boot_id: int) -> list[Interval]:
        """Return everything known of a boot, as the fewest intervals."""
        return merged(self._table.all(boot_id) + _tail_intervals(self._database).get(boot_id, []))

    def add_new(self, boot_id: int, batch: StampedBatch) -> StampedBatch | None:
        """Return what of `batch` (not empty) is new, in order and once each, and know it from now on."""
        seq = batch.seq
        n = len(seq)
        first = int(seq[0])
        top = self._top.get(boot_id)
        if top is None:
            top = self._load_top(boot_id)
        in_order = n == 1 or bool((seq[1:] == seq[:-1] + 1).all())
        if first > top and in_order:
            self._add(boot_id, first, first + n - 1)
            return batch
        if not in_order:
            _, places = np.unique(seq, return_index=True)
            batch = _some(batch, places)
        tail = self._tail()[boot_id]
        low, high = int(batch.seq[0]), int(batch.seq[-1])
        known = merged(self._table.touching(boot_id, low, high) + tail)
        new = outside(batch.seq, known)
        if not new.any():
            return None
        if not new.all():
            batch = _some(batch, np.flatnonzero(new))
        for start, end in intervals_of(batch.seq):
            self._add(boot_id, start, end)
        return batch

    def persist(self, boot_id: int) -> None:
        """Write what is known of a boot from the tail into the table."""
        for first, last in self._tail().pop(boot_id, ()):
            self._table.add(boot_id, first, last)

    def _add(self, boot_id: int, first: int, last: int) -> None:
        tail = self._tail()[boot_id]
        if tail and first == tail[-1][1] + 1:
            tail[-1] = (tail[-1][0], last)
        else:
            tail.append((first, last))
            if len(tail) > 1 and first <= tail[-2][1] + 1:
                tail[:] = merged(tail)
        if last > self._top[boot_id]:
            self._top[boot_id] = last

    def _load_top(self, boot_id: int) -> int:
        stored = self._database.row("SELECT max(last) FROM seen WHERE owner = ?", (boot_id,))
        top = -1 if stored is None or stored[0] is None else int(stored[0])
        tail = self._tail()[boot_id]
        if tail:
            top = max(top, tail[-1][1])
        self._top[boot_id] = top
        return top

    def _tail(self) -> dict[int, list[Interval]]:
        if self._of_tail is None:
            self._of_tail = _tail_intervals(self._database)
        return self._of_tail

    def _forget(self) -> None:
        self._of_tail = None
        self._top.clear()


def _tail_intervals(database: Database) -> dict[int, list[Interval]]:
    found: dict[int, list[Interval]] = defaultdict(list)
    for boot_id, channels, first, last, n, data in database.rows(
        "SELECT boot_id, channels, first_seq, last_seq, n, iif(last_seq - first_seq = n - 1, NULL, data)"
        " FROM tail JOIN stream USING (stream_id)"
    ):
        if data is None:
            found[boot_id].append((first, last))
        else:
            found[boot_id].extend(intervals_of(unpack_tail(data, n, len(channels.split())).seq))
    for boot_id, intervals in found.items():
        found[boot_id] = merged(intervals)
    return found


def _some(batch: StampedBatch, places: NDArray[np.intp]) -> StampedBatch:
    return StampedBatch(
        batch.board,
        batch.boot,
        batch.channels,
        batch.seq[places],
        batch.utc_ms[places],
        batch.values[places],
        batch.marks[places],
    )
