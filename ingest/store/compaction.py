"""Packing the tail into chunks, a little at a time."""

from itertools import groupby

from ingest.store.columns import join
from ingest.store.database import Database
from ingest.store.rows import LONGEST_CHUNK_MS, MOST_IN_CHUNK, ReadingRows, StoredRow
from ingest.store.seen import SeenReadings

# A round begins when the tail has this many rows, or when it is this old: a query must walk through the whole
# tail, and readings take ten times the room there that they take in a chunk.
ROWS_FOR_A_ROUND = 8192
AGE_FOR_A_ROUND_MS = 15 * 60_000
# A chunk is written again to take new readings in only while it is at most this many times as large as they
# are: then each reading is written a few times in all, however small the steps in which it came.
MOST_TIMES_LARGER = 4
READINGS_A_STEP = 8192
DELETED_A_STEP = 4096


class Compaction:
    """Works in rounds over all rows that the tail has at their beginning.

    A step packs one or more streams and commits: from then on their rows in the tail no longer count.  When
    all streams are done, the rows are deleted from the front, so that whole pages come free.  A process that
    dies in a round leaves nothing half done; the next one begins with what still counts.
    """

    def __init__(self, database: Database, rows: ReadingRows, seen: SeenReadings) -> None:
        self._database = database
        self._rows = rows
        self._seen = seen
        self._through = 0  # the last batch of this round; 0 between rounds
        self._streams: list[int] = []  # still to do
        self._tail_since_ms: int | None = None
        self._first_round = True  # what an earlier process left is packed at once
        database.when_undone.append(self._forget)

    def step(self, now_ms: int) -> bool:
        """Do one step; return whether another waits to be done now."""
        if not self._through and not self._begin_round(now_ms):
            return False
        with self._database.transaction():
            done = 0
            while self._streams and done < READINGS_A_STEP:
                done += self._pack(self._streams.pop())
            if not done and not self._delete():
                self._through = 0
        return self._through > 0

    def _begin_round(self, now_ms: int) -> bool:
        oldest, newest = self._database.row("SELECT min(batch_id), max(batch_id) FROM tail") or (None, None)
        if oldest is None:
            self._tail_since_ms = None
            self._first_round = False
            return False
        if self._tail_since_ms is None or now_ms < self._tail_since_ms:
            self._tail_since_ms = now_ms
        young = now_ms - self._tail_since_ms < AGE_FOR_A_ROUND_MS
        if young and newest - oldest < ROWS_FOR_A_ROUND and not self._first_round:
            return False
        self._first_round = False
        self._tail_since_ms = now_ms
        self._through = newest
        rows = self._database.rows("SELECT DISTINCT stream_id FROM tail ORDER BY stream_id DESC")
        self._streams = [stream_id for (stream_id,) in rows]
        return True

    def _pack(self, stream_id: int) -> int:
        rows = self._rows.tail_of(stream_id, self._through)
        for _, group in groupby(rows, key=lambda row: row.run_id):
            for chunk in _as_chunks(list(group)):
                self._rows.write_chunk(self._grown(chunk))
        if rows:
            self._seen.persist(rows[0].stream.boot_id)
            self._database.execute(
                "UPDATE stream SET chunked_through = ? WHERE stream_id = ?", (self._through, stream_id)
            )
        return sum(len(row.columns) for row in rows)

    def _grown(self, chunk: StoredRow) -> StoredRow:
        """Return `chunk` with the small chunks beside it taken in."""
        while (
            small := self._rows.take_small_chunk(chunk, len(chunk.columns) * MOST_TIMES_LARGER)
        ) is not None:
            chunk = _as_one([small, chunk])
        return chunk

    def _delete(self) -> bool:
        """Delete rows of this round; return whether there were any."""
        deleted = self._database.execute(
            "DELETE FROM tail WHERE batch_id IN (SELECT batch_id FROM tail WHERE batch_id <= ? LIMIT ?)",
            (self._through, DELETED_A_STEP),
        )
        return deleted.rowcount > 0

    def _forget(self) -> None:
        self._through = 0
        self._streams = []
        self._first_round = True


def _as_chunks(rows: list[StoredRow]) -> list[StoredRow]:
    """Return rows of one stream and run, in order, as the fewest rows that are allowed as chunks."""
    groups: list[list[StoredRow]] = []
    n, first_ms, last_ms = 0, 0, 0
    for row in rows:
        start_ms, end_ms = row.columns.extent_ms()
        n += len(row.columns)
        first_ms, last_ms = min(first_ms, start_ms), max(last_ms, end_ms)
        if not groups or n > MOST_IN_CHUNK or last_ms - first_ms > LONGEST_CHUNK_MS:
            groups.append([])
            n, first_ms, last_ms = len(row.columns), start_ms, end_ms
        groups[-1].append(row)
    return [_as_one(group) for group in groups]


def _as_one(rows: list[StoredRow]) -> StoredRow:
    columns = join([row.columns for row in rows]).in_sequence()  # some may have been replayed late
    return StoredRow(max(row.batch_id for row in rows), rows[0].stream, rows[0].run_id, columns)
