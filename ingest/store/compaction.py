"""Packing the tail into chunks, a little at a time."""

from ingest.store.columns import join
from ingest.store.database import Database, Row
from ingest.store.rows import ReadingRows, StoredRow
from ingest.store.seen import SeenReadings

# A round begins when the tail has this many rows, or when it is this old: a query must walk through the whole
# tail, and readings take ten times the room there that they take in a chunk.
ROWS_FOR_A_ROUND = 8192
AGE_FOR_A_ROUND_MS = 15 * 60_000
# A chunk is written again to take new readings in only while it is at most this many times as large as they
# are: then each reading is written a few times in all, however small the steps in which it came.
MOST_TIMES_LARGER = 4
# A step takes some 10 ms, so that the daemon never looks away from its ports for long.  A chunk takes as much
# time for itself as this many readings in it.
READINGS_A_STEP = 4096
READINGS_LIKE_A_CHUNK = 256
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
        self._streams: list[Row] = []  # still to do: stream and number of readings
        self._tail_since_ms: int | None = None
        self._left_over = True  # what an earlier process may have left is packed at once
        database.when_undone.append(self._forget)

    def step(self, now_ms: int) -> bool:
        """Do one step; return whether another waits to be done now."""
        if not self._through and not self._begin_round(now_ms):
            return False
        with self._database.transaction():
            if self._streams:
                self._pack(self._next_streams())
            elif not self._delete():
                self._through = 0
        return self._through > 0

    def _begin_round(self, now_ms: int) -> bool:
        oldest, newest = self._database.row("SELECT min(batch_id), max(batch_id) FROM tail") or (None, None)
        if oldest is None:
            self._tail_since_ms = None
            self._left_over = False
            return False
        if self._tail_since_ms is None or now_ms < self._tail_since_ms:
            self._tail_since_ms = now_ms
        young = now_ms - self._tail_since_ms < AGE_FOR_A_ROUND_MS
        if young and newest - oldest < ROWS_FOR_A_ROUND and not self._left_over:
            return False
        self._left_over = False
        self._tail_since_ms = now_ms
        self._through = newest
        self._streams = self._database.rows("SELECT stream_id, sum(n) FROM tail GROUP BY stream_id")
        return True

    def _next_streams(self) -> list[int]:
        """Take as many streams off the list as make a step."""
        taken, n = [], 0
        while self._streams and n < READINGS_A_STEP:
            stream_id, n_of_stream = self._streams.pop()
            taken.append(stream_id)
            n += n_of_stream + READINGS_LIKE_A_CHUNK
        return taken

    def _pack(self, stream_ids: list[int]) -> None:
        boots = set()
        for row in self._rows.packable(stream_ids, self._through):
            self._rows.write_chunk(self._grown(row))
            boots.add(row.stream.boot_id)
        for boot_id in boots:
            self._seen.persist(boot_id)
        self._database.execute_many(
            "UPDATE stream SET chunked_through = ? WHERE stream_id = ?",
            [(self._through, stream_id) for stream_id in stream_ids],
        )

    def _grown(self, chunk: StoredRow) -> StoredRow:
        """Return `chunk` in order, with the small chunks beside it taken in."""
        chunk = _as_one(chunk)  # readings may have been replayed late
        while (
            small := self._rows.take_small_chunk(chunk, len(chunk.columns) * MOST_TIMES_LARGER)
        ) is not None:
            chunk = _as_one(small, chunk)
        return chunk

    def _delete(self) -> bool:
        """Delete rows of this round; return whether there were any."""
        return self._database.execute(_DELETE, (self._through, DELETED_A_STEP)).rowcount > 0

    def _forget(self) -> None:
        self._through = 0
        self._streams = []
        self._left_over = True


def _as_one(*rows: StoredRow) -> StoredRow:
    columns = join([row.columns for row in rows]).in_sequence()
    return StoredRow(max(row.batch_id for row in rows), rows[0].stream, rows[0].run_id, columns)


_DELETE = """
DELETE FROM tail WHERE batch_id IN (
    SELECT batch_id FROM tail CROSS JOIN stream USING (stream_id)
    WHERE batch_id <= ?1 AND batch_id <= chunked_through ORDER BY batch_id LIMIT ?2
)
"""
