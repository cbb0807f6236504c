"""Rows of readings in SQLite: the tail, where they arrive, and chunks, where they stay."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import merge

from ingest.store.batch import CLOCK_UNSURE_MARK
from ingest.store.codec import Columns, pack_chunk, pack_tail, unpack_chunk, unpack_tail
from ingest.store.database import Database, Row
from ingest.store.identities import Identities, Stream
from ingest.store.runs import Runs

# A chunk of three channels of this many readings takes some 25 kB: large enough that heads and indices vanish,
# small enough that a day at one reading a second decodes in milliseconds.
MOST_IN_CHUNK = 8192
# No chunk is longer, so that a query for a time knows how far before it a chunk may begin.
LONGEST_CHUNK_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class StoredRow:
    """One row of the tail or one chunk, with UTC and marks as they are now believed."""

    batch_id: int
    stream: Stream
    run_id: int
    columns: Columns


class ReadingRows:
    """Writes and reads rows of readings.  On disk their times are as stamped before any shift of their run."""

    def __init__(self, database: Database, identities: Identities, runs: Runs) -> None:
        self._database = database
        self._identities = identities
        self._runs = runs
        self._newest: int | None = None
        database.when_undone.append(self._forget)

    def newest_batch(self) -> int:
        """Return the number of the last row appended; 0 if there was none.

        It never goes down: a chunk keeps the highest number of the rows that went into it, and the row with the
        highest number of all is never forgotten.
        """
        if self._newest is None:
            (self._newest,) = self._database.row(
                "SELECT max(ifnull((SELECT max(batch_id) FROM tail), 0),"
                " ifnull((SELECT max(last_batch) FROM chunk), 0))"
            ) or (0,)
        return self._newest

    def add_to_tail(self, stream: Stream, run_id: int, columns: Columns, extent: tuple[int, int]) -> None:
        """Append a row to the tail; `extent` is its first and last UTC in milliseconds."""
        if extent[1] - extent[0] > LONGEST_CHUNK_MS:
            for piece in _pieces(columns):
                self.add_to_tail(stream, run_id, piece, (int(piece.utc_ms.min()), int(piece.utc_ms.max())))
            return
        self._newest = batch_id = self.newest_batch() + 1
        shift_ms = self._runs.get(run_id).shift_ms
        self._database.execute(
            "INSERT INTO tail VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                batch_id,
                stream.stream_id,
                run_id,
                extent[0] - shift_ms,
                extent[1] - shift_ms,
                int(columns.seq[0]),
                int(columns.seq[-1]),
                len(columns),
                pack_tail(columns.shifted(-shift_ms)),
            ),
        )

    def add_chunks(self, stream: Stream, run_id: int, columns: Columns) -> None:
        """Append as many chunks as `columns` needs."""
        for piece in _pieces(columns):
            self._newest = self.newest_batch() + 1
            self.write_chunk(StoredRow(self._newest, stream, run_id, piece))

    def write_chunk(self, row: StoredRow) -> None:
        """Write a chunk under the number that it has."""
        columns = row.columns.shifted(-self._runs.get(row.run_id).shift_ms)
        self._database.execute(
            "INSERT INTO chunk (board_id, run_id, start_ms, end_ms, stream_id, last_batch, n, data)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                row.stream.board_id,
                row.run_id,
                int(columns.utc_ms.min()),
                int(columns.utc_ms.max()),
                row.stream.stream_id,
                row.batch_id,
                len(columns),
                pack_chunk(columns),
            ),
        )

    def take_small_chunk(self, beside: StoredRow, most: int) -> StoredRow | None:
        """Remove and return a chunk of at most `most` readings that fits into one chunk with `beside`."""
        columns = beside.columns
        shift_ms = self._runs.get(beside.run_id).shift_ms
        start_ms, end_ms = int(columns.utc_ms.min()) - shift_ms, int(columns.utc_ms.max()) - shift_ms
        row = self._database.row(
            _SMALL_CHUNK,
            (
                beside.stream.board_id,
                beside.run_id,
                beside.stream.stream_id,
                start_ms,
                end_ms,
                min(most, MOST_IN_CHUNK - len(columns)),
                LONGEST_CHUNK_MS,
            ),
        )
        if row is None:
            return None
        self._database.execute("DELETE FROM chunk WHERE last_batch = ?", row[:1])
        return self._from_chunk(row)

    def in_time(self, board_id: int, from_ms: int, to_ms: int) -> list[StoredRow]:
        """Return the rows of a board that have, or may have, readings in [from_ms, to_ms)."""
        values = (board_id, from_ms, to_ms, LONGEST_CHUNK_MS)
        return [
            *(self._from_chunk(row) for row in self._database.rows(_CHUNKS_IN_TIME, values)),
            *(self._from_tail(row) for row in self._database.rows(_TAIL_IN_TIME, values[:3])),
        ]

    def since(self, position: int) -> Iterator[StoredRow]:
        """Yield the rows numbered above `position` in order; meant to be left early."""
        chunks = self._database.walk(f"{_CHUNK} WHERE last_batch > ? ORDER BY last_batch", (position,))
        tail = self._database.walk(
            f"{_TAIL} WHERE batch_id > chunked_through AND batch_id > ? ORDER BY batch_id", (position,)
        )
        for row, is_chunk in merge(
            ((row, True) for row in chunks), ((row, False) for row in tail), key=lambda pair: pair[0][0]
        ):
            yield self._from_chunk(row) if is_chunk else self._from_tail(row)

    def tail_of(self, stream_id: int, through: int) -> list[StoredRow]:
        """Return the tail rows of a stream up to batch `through` that are not in a chunk yet."""
        rows = self._database.rows(
            f"{_TAIL} WHERE batch_id > chunked_through AND batch_id <= ? AND stream_id = ?",
            (through, stream_id),
        )
        return [self._from_tail(row) for row in rows]

    def _from_tail(self, row: Row) -> StoredRow:
        batch_id, stream_id, run_id, n, data = row
        stream = self._identities.stream_by_id(stream_id)
        return self._as_believed(batch_id, stream, run_id, unpack_tail(data, n, len(stream.channels)))

    def _from_chunk(self, row: Row) -> StoredRow:
        batch_id, stream_id, run_id, n, data = row
        stream = self._identities.stream_by_id(stream_id)
        return self._as_believed(batch_id, stream, run_id, unpack_chunk(data, n, len(stream.channels)))

    def _as_believed(self, batch_id: int, stream: Stream, run_id: int, columns: Columns) -> StoredRow:
        run = self._runs.get(run_id)
        columns = columns.shifted(run.shift_ms)
        if batch_id <= run.sure_through:
            columns = columns.without_mark(CLOCK_UNSURE_MARK)
        return StoredRow(batch_id, stream, run_id, columns)

    def _forget(self) -> None:
        self._newest = None


_CHUNK = "SELECT last_batch, stream_id, run_id, n, data FROM chunk"
_TAIL = "SELECT batch_id, stream_id, run_id, n, data FROM tail JOIN stream USING (stream_id)"

# Run by run, because each has its own shift: an index finds the few chunks of each that can matter.
_CHUNKS_IN_TIME = """
SELECT last_batch, stream_id, run_id, n, data FROM run CROSS JOIN chunk USING (run_id)
WHERE board_id = ?1 AND start_ms >= ?2 - shift_ms - ?4 AND start_ms < ?3 - shift_ms AND end_ms >= ?2 - shift_ms
"""
_TAIL_IN_TIME = """
SELECT batch_id, stream_id, run_id, n, data FROM tail JOIN stream USING (stream_id) JOIN run USING (run_id)
WHERE batch_id > chunked_through AND board_id = ?1 AND start_ms < ?3 - shift_ms AND end_ms >= ?2 - shift_ms
"""


_SMALL_CHUNK = f"""
{_CHUNK} WHERE board_id = ?1 AND run_id = ?2 AND stream_id = ?3 AND n <= ?6
AND start_ms >= ?5 - ?7 AND start_ms <= ?4 + ?7 AND max(end_ms, ?5) - min(start_ms, ?4) <= ?7
ORDER BY last_batch DESC LIMIT 1
"""


def fits_in_chunk(rows: Sequence[StoredRow]) -> bool:
    """Return whether rows of one stream and run may become one chunk."""
    first_ms = min(int(row.columns.utc_ms.min()) for row in rows)
    last_ms = max(int(row.columns.utc_ms.max()) for row in rows)
    return sum(len(row.columns) for row in rows) <= MOST_IN_CHUNK and last_ms - first_ms <= LONGEST_CHUNK_MS


def _pieces(columns: Columns) -> list[Columns]:
    """Return `columns` cut so that each piece is a chunk of allowed number and length."""
    if len(columns) <= MOST_IN_CHUNK and _length_ms(columns) <= LONGEST_CHUNK_MS:
        return [columns]
    middle = len(columns) // 2
    return [*_pieces(columns.some(slice(middle))), *_pieces(columns.some(slice(middle, None)))]


def _length_ms(columns: Columns) -> int:
    return int(columns.utc_ms.max()) - int(columns.utc_ms.min())
