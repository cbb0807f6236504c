"""Rows of readings in SQLite: the tail, where they arrive, and chunks, where they stay."""

import json
import logging
import struct
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from heapq import merge

from ingest.store.batch import CLOCK_UNSURE_MARK
from ingest.store.codec import pack_chunk, pack_tail, unpack_chunk, unpack_tail
from ingest.store.columns import Columns
from ingest.store.database import Database, Row
from ingest.store.identities import Identities, Stream
from ingest.store.runs import Runs

# A chunk of three channels of this many readings takes some 16 kB: large enough that heads and indices do not
# count, small enough that a day at one reading a second decodes in milliseconds.
MOST_IN_CHUNK = 8192
# No chunk is longer, so that a query for a time knows how long before it a chunk may begin.
LONGEST_CHUNK_MS = 86_400_000

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class StoredRow:
    """One row of the tail or one chunk, with UTC and marks as they are now believed."""

    batch_id: int
    stream: Stream
    run_id: int
    columns: Columns


class ReadingRows:
    """Writes and reads rows of readings.  On disk, times are as stamped before any shift of their run."""

    def __init__(self, database: Database, identities: Identities, runs: Runs) -> None:
        self._database = database
        self._identities = identities
        self._runs = runs
        self._newest: int | None = None
        database.when_undone.append(self._forget)

    def newest_batch(self) -> int:
        """Return the number of the last row appended; 0 if there was none.

        It never goes down: a chunk keeps the highest number of the rows that went into it, and the row with
        the highest number of all is never forgotten.
        """
        if self._newest is None:
            (self._newest,) = self._database.row(_NEWEST) or (0,)
        return self._newest

    def add_to_tail(self, stream: Stream, run_id: int, columns: Columns, extent_ms: tuple[int, int]) -> None:
        """Append a row to the tail; `extent_ms` is that of `columns`, at most LONGEST_CHUNK_MS apart."""
        self._newest = batch_id = self.newest_batch() + 1
        shift_ms = self._runs.get(run_id).shift_ms
        self._database.execute(
            "INSERT INTO tail VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                batch_id,
                stream.stream_id,
                run_id,
                extent_ms[0] - shift_ms,
                extent_ms[1] - shift_ms,
                int(columns.seq[0]),
                int(columns.seq[-1]),
                len(columns),
                pack_tail(columns.shifted(-shift_ms)),
            ),
        )

    def add_chunks(self, stream: Stream, run_id: int, columns: Columns) -> None:
        """Append as many chunks as `columns` needs."""
        for piece in pieces(columns):
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
                *columns.extent_ms(),
                row.stream.stream_id,
                row.batch_id,
                len(columns),
                pack_chunk(columns),
            ),
        )

    def take_small_chunk(self, beside: StoredRow, most: int) -> StoredRow | None:
        """Remove and return a chunk of at most `most` readings that fits into one chunk with `beside`."""
        shift_ms = self._runs.get(beside.run_id).shift_ms
        start_ms, end_ms = beside.columns.extent_ms()
        row = self._database.row(
            _SMALL_CHUNK,
            (
                beside.stream.board_id,
                beside.run_id,
                beside.stream.stream_id,
                start_ms - shift_ms,
                end_ms - shift_ms,
                min(most, MOST_IN_CHUNK - len(beside.columns)),
                LONGEST_CHUNK_MS,
            ),
        )
        small = None if row is None else self._believed(row, unpack_chunk)
        if small is not None:
            self._database.execute("DELETE FROM chunk WHERE last_batch = ?", (small.batch_id,))
        return small

    def in_time(self, board_id: int, from_ms: int, to_ms: int) -> list[StoredRow]:
        """Return the rows of a board that have, or may have, readings in [from_ms, to_ms)."""
        values = (board_id, from_ms, to_ms, LONGEST_CHUNK_MS)
        return [
            *self._from_chunks(self._database.rows(_CHUNKS_IN_TIME, values)),
            *self._from_tail(self._database.rows(_TAIL_IN_TIME + _BY_BATCH, values[:3])),
        ]

    def count(self, board_id: int, from_ms: int, to_ms: int) -> int:
        """Return how many readings of a board are in [from_ms, to_ms); only rows on its edges are read."""
        values = (board_id, from_ms, to_ms, LONGEST_CHUNK_MS)
        (n_inside,) = self._database.row(_N_INSIDE, values[:3]) or (0,)
        on_edge = [
            *self._from_chunks(self._database.rows(_CHUNKS_IN_TIME + _ON_EDGE, values)),
            *self._from_tail(self._database.rows(_TAIL_IN_TIME + _ON_EDGE, values[:3])),
        ]
        times = [row.columns.utc_ms for row in on_edge]
        return int(n_inside or 0) + sum(int(((at >= from_ms) & (at < to_ms)).sum()) for at in times)

    def since(self, position: int, limit_readings: int) -> tuple[list[StoredRow], int]:
        """Return rows numbered above `position`, until they hold `limit_readings`, and the last number."""
        chunks: list[Row] = []
        tail: list[Row] = []
        n = 0
        both = merge(
            ((row, chunks) for row in self._database.walk(_CHUNKS_SINCE, (position,))),
            ((row, tail) for row in self._database.walk(_TAIL_SINCE, (position,))),
            key=lambda pair: pair[0][0],
        )
        for row, kind in both:
            kind.append(row)
            position = row[0]
            n += row[3]
            if n >= limit_readings:
                break
        return [*self._from_chunks(chunks), *self._from_tail(tail)], position

    def packable(self, stream_ids: Sequence[int], through: int) -> list[StoredRow]:
        """Return what the tail still has of some streams, up to batch `through`, as rows fit for chunks."""
        rows = self._database.rows(_TAIL_OF_STREAMS, (json.dumps(stream_ids), through))
        return [
            fit for group in self._belonging_together(rows).values() for fit in self._fit_for_chunks(group)
        ]

    def _fit_for_chunks(self, rows: list[Row]) -> list[StoredRow]:
        joined = self._from_tail(rows)
        if len(rows) == 1 or all(_fits(row.columns) for row in joined):
            return joined
        middle = len(rows) // 2
        return [*self._fit_for_chunks(rows[:middle]), *self._fit_for_chunks(rows[middle:])]

    def _from_chunks(self, rows: Iterable[Row]) -> list[StoredRow]:
        found = [self._believed(row, unpack_chunk) for row in rows]
        return [row for row in found if row is not None]

    def _from_tail(self, rows: Iterable[Row]) -> list[StoredRow]:
        """Return rows of the tail; what belongs together becomes one, numbered as the last of it."""
        found: list[StoredRow | None] = []
        for (stream_id, run_id, _), group in self._belonging_together(rows).items():
            n = sum(row[3] for row in group)
            data = b"".join([row[4] for row in group])
            joined = self._believed((group[-1][0], stream_id, run_id, n, data), unpack_tail)
            # Where one is damaged, the others are taken one by one.
            found += [joined] if joined else [self._believed(row, unpack_tail) for row in group]
        return [row for row in found if row is not None]

    def _belonging_together(self, rows: Iterable[Row]) -> dict[tuple[int, int, bool], list[Row]]:
        """Return rows by stream, run, and whether the run's clock was found right after them."""
        groups: dict[tuple[int, int, bool], list[Row]] = {}
        for row in rows:
            key = (row[1], row[2], row[0] <= self._runs.get(row[2]).sure_through)
            groups.setdefault(key, []).append(row)
        return groups

    def _believed(self, row: Row, unpack: Callable[[bytes, int, int], Columns]) -> StoredRow | None:
        batch_id, stream_id, run_id, n, data = row
        stream = self._identities.stream_by_id(stream_id)
        try:
            columns = unpack(data, n, len(stream.channels))
        except (ValueError, struct.error, zlib.error) as error:
            # A worn card gave back other bytes than it got.  All other rows are still good, and a damaged
            # chunk stays for whoever can rescue it.
            _log.error("a row of readings is damaged: board %s, batch %d: %s", stream.board, batch_id, error)
            return None
        run = self._runs.get(run_id)
        columns = columns.shifted(run.shift_ms)
        if batch_id <= run.sure_through:
            columns = columns.without_mark(CLOCK_UNSURE_MARK)
        return StoredRow(batch_id, stream, run_id, columns)

    def _forget(self) -> None:
        self._newest = None


def pieces(columns: Columns) -> list[Columns]:
    """Return `columns` cut so that each piece has a number and a length that a chunk may have."""
    if _fits(columns):
        return [columns]
    middle = len(columns) // 2
    return [*pieces(columns.some(slice(middle))), *pieces(columns.some(slice(middle, None)))]


def _fits(columns: Columns) -> bool:
    first_ms, last_ms = columns.extent_ms()
    return len(columns) <= MOST_IN_CHUNK and last_ms - first_ms <= LONGEST_CHUNK_MS


_NEWEST = """
SELECT max(ifnull((SELECT max(batch_id) FROM tail), 0), ifnull((SELECT max(last_batch) FROM chunk), 0))
"""
_CHUNK = "SELECT last_batch, stream_id, run_id, n, data FROM chunk"
_CHUNKS_SINCE = f"{_CHUNK} WHERE last_batch > ? ORDER BY last_batch"
# CROSS JOIN keeps SQLite to this order: along the tail, then what belongs to each row of it.
_TAIL = """
SELECT batch_id, stream_id, run_id, n, data FROM tail CROSS JOIN stream USING (stream_id)
WHERE batch_id > chunked_through
"""
_TAIL_SINCE = f"{_TAIL} AND batch_id > ? ORDER BY batch_id"
_TAIL_OF_STREAMS = (
    f"{_TAIL} AND stream_id IN (SELECT value FROM json_each(?1)) AND batch_id <= ?2"  # noqa: S608
    " ORDER BY batch_id"
)
_SMALL_CHUNK = f"""
{_CHUNK} WHERE board_id = ?1 AND run_id = ?2 AND stream_id = ?3 AND n <= ?6
AND start_ms >= ?5 - ?7 AND start_ms <= ?4 + ?7 AND max(end_ms, ?5) - min(start_ms, ?4) <= ?7
ORDER BY last_batch DESC LIMIT 1
"""
# Run by run, because each has its own shift: the index finds the few chunks of each that can matter.
_CHUNKS_IN_TIME = """
SELECT last_batch, stream_id, run_id, n, data FROM run CROSS JOIN chunk USING (run_id)
WHERE board_id = ?1 AND start_ms >= ?2 - shift_ms - ?4 AND start_ms < ?3 - shift_ms
AND end_ms >= ?2 - shift_ms
"""
_TAIL_IN_TIME = """
SELECT batch_id, stream_id, run_id, n, data
FROM tail CROSS JOIN stream USING (stream_id) CROSS JOIN run USING (run_id)
WHERE batch_id > chunked_through AND board_id = ?1
AND start_ms < ?3 - shift_ms AND end_ms >= ?2 - shift_ms
"""
_BY_BATCH = "ORDER BY batch_id"
_ON_EDGE = "AND NOT (start_ms >= ?2 - shift_ms AND end_ms < ?3 - shift_ms)"
_N_INSIDE = """
SELECT sum(n) FROM (
    SELECT sum(n) AS n FROM run CROSS JOIN chunk USING (run_id)
    WHERE board_id = ?1 AND start_ms >= ?2 - shift_ms AND start_ms < ?3 - shift_ms AND end_ms < ?3 - shift_ms
    UNION ALL
    SELECT sum(n) FROM tail CROSS JOIN stream USING (stream_id) CROSS JOIN run USING (run_id)
    WHERE batch_id > chunked_through AND board_id = ?1
    AND start_ms >= ?2 - shift_ms AND end_ms < ?3 - shift_ms
)
"""
