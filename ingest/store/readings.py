"""Raw readings, kept once each: appending, reading back, following, re-stamping, forgetting."""

from collections.abc import Iterable, Sequence
from itertools import islice

import numpy as np

from ingest.store.batch import StampedBatch
from ingest.store.columns import Columns, join
from ingest.store.compaction import Compaction
from ingest.store.database import Database
from ingest.store.dirty import DirtyMinutes
from ingest.store.identities import Identities, Stream
from ingest.store.intervals import Interval
from ingest.store.rows import LONGEST_CHUNK_MS, ReadingRows, StoredRow, pieces
from ingest.store.runs import Runs
from ingest.store.seen import SeenReadings

# From this many on a batch is worth a chunk of its own.
CHUNK_AT_ONCE = 1024
# One transaction of forgetting: a few MB.
MOST_FORGOTTEN_CHUNKS = 256


class Readings:
    """The readings of all boards.  One process appends; others may read meanwhile."""

    def __init__(self, database: Database, identities: Identities, runs: Runs, dirty: DirtyMinutes) -> None:
        self._database = database
        self._identities = identities
        self._runs = runs
        self._dirty = dirty
        self._seen = SeenReadings(database)
        self._rows = ReadingRows(database, identities, runs)
        self._compaction = Compaction(database, self._rows, self._seen)

    def append(self, batches: Sequence[StampedBatch]) -> list[StampedBatch]:
        """Store readings in one commit; return those that the store did not have."""
        run_id = self._runs.running()
        with self._database.transaction():
            fresh = [self._append_one(run_id, batch) for batch in batches if len(batch)]
        return [batch for batch in fresh if batch is not None]

    def seen(self, board: str, boot: str) -> list[Interval]:
        """Return the sequence numbers stored of one boot, as intervals with both ends inside."""
        boot_id = self._identities.find_boot(board, boot)
        if boot_id is None:
            return []
        with self._database.snapshot():
            return self._seen.all(boot_id)

    def between(self, board: str, from_ms: int, to_ms: int) -> list[StampedBatch]:
        """Return the readings of a board in [from_ms, to_ms).

        One batch for each boot and set of channels, by their first times; in each, readings are in order of
        time, and of sequence number where times are equal.
        """
        board_id = self._identities.find_board(board)
        if board_id is None:
            return []
        with self._database.snapshot():
            rows = self._rows.in_time(board_id, from_ms, to_ms)
        batches = []
        for stream, columns in _by_stream(rows):
            columns = columns.in_time_order()
            first, end = np.searchsorted(columns.utc_ms, (from_ms, to_ms))
            if first < end:
                batches.append(_batch(stream, columns.some(slice(first, end))))
        return sorted(batches, key=lambda batch: int(batch.utc_ms[0]))

    def count(self, board: str, from_ms: int, to_ms: int) -> int:
        """Return how many readings of a board are in [from_ms, to_ms)."""
        board_id = self._identities.find_board(board)
        if board_id is None:
            return 0
        with self._database.snapshot():
            return self._rows.count(board_id, from_ms, to_ms)

    def channels(self, board: str) -> list[str]:
        """Return all channels that a board ever reported, in the order in which they first came."""
        rows = self._database.rows(
            "SELECT channels FROM stream JOIN board USING (board_id) WHERE board = ? ORDER BY stream_id",
            (board,),
        )
        return list(dict.fromkeys(channel for (channels,) in rows for channel in channels.split()))

    def extent(self, board: str) -> tuple[int, int] | None:
        """Return the UTC milliseconds of the first and the last reading of a board by time, or None."""
        first_ms, last_ms = self._database.row(_EXTENT, (board,)) or (None, None)
        return None if first_ms is None else (first_ms, last_ms)

    def last_utc_ms(self, board: str) -> int | None:
        """Return the UTC milliseconds of the latest reading of a board, or None."""
        extent = self.extent(board)
        return None if extent is None else extent[1]

    def last_utc_ms_any(self) -> int | None:
        """Return the UTC milliseconds of the latest reading of all, or None."""
        (last_ms,) = self._database.row(_LAST_OF_ALL) or (None,)
        return None if last_ms is None else int(last_ms)

    def times_revision(self) -> tuple[int, int, int]:
        """Return something that differs after stored readings have been given other times."""
        last_run, total_shift_ms, total_sure = self._database.row(_TIMES_REVISION) or (0, 0, 0)
        return int(last_run), int(total_shift_ms), int(total_sure)

    def next_utc_ms(self, board: str, from_ms: int) -> int | None:
        """Return a moment from `from_ms` on before which a board has no readings; None if it has no more.

        There may be none at that moment itself: what is kept together may hold a pause.
        """
        (first_ms,) = self._database.row(_NEXT, (board, from_ms, LONGEST_CHUNK_MS)) or (None,)
        return None if first_ms is None else max(int(first_ms), from_ms)

    def forgotten_before(self, board: str) -> int | None:
        """Return before when readings of a board have been forgotten; None if none have."""
        row = self._database.row(
            "SELECT before_ms FROM forgotten JOIN board USING (board_id) WHERE board = ?", (board,)
        )
        return None if row is None else int(row[0])

    def since(self, position: int, limit_readings: int) -> tuple[list[StampedBatch], int]:
        """Return what was appended after `position`, oldest first, and the position after it.

        Stops at the row that reaches `limit_readings`.  Compaction may make readings come twice; none is ever
        left out.  Position 0 is before everything.
        """
        with self._database.snapshot():
            rows, position = self._rows.since(position, limit_readings)
        return [_batch(stream, columns.in_sequence()) for stream, columns in _by_stream(rows)], position

    def position_before(self, utc_ms: int) -> int:
        """Return a position after which everything from `utc_ms` on is found, and little else."""
        (first,) = self._database.row(_FIRST_ENDING_AFTER, (utc_ms,)) or (None,)
        return self.position() if first is None else int(first) - 1

    def position(self) -> int:
        """Return the position after everything appended so far."""
        return self._rows.newest_batch()

    def restamp(self, run_id: int, delta_ms: int, *, clock_sure: bool) -> None:
        """Move all readings of a run by `delta_ms`, at the cost of one row whatever their number.

        `clock_sure` also takes CLOCK_UNSURE_MARK off them.  Their minutes, old and new, become dirty, and
        cursors that have passed any of them are set back.
        """
        self._runs.running()
        self._runs.restamp(run_id, delta_ms, self.position(), clock_sure=clock_sure)

    def compact(self, now_ms: int) -> bool:
        """Do one small step of packing readings for good, if one is due; return whether another is."""
        self._runs.running()
        return self._compaction.step(now_ms)

    def forget_before(self, utc_ms: int) -> int:
        """Delete chunks that ended before `utc_ms` and whose minutes are summarised; return how many.

        At most `MOST_FORGOTTEN_CHUNKS` in one call.  Minutes stay.  A mirror that has not had them by then
        never will.
        """
        self._runs.running()
        with self._database.transaction():
            done_with = (
                (chunk_id, board_id, last_ms)
                for chunk_id, board_id, first_ms, last_ms in self._database.walk(_OLD_CHUNKS, (utc_ms,))
                if not self._dirty.touches(board_id, first_ms, last_ms)
            )
            old = list(islice(done_with, MOST_FORGOTTEN_CHUNKS))
            self._database.execute_many(
                "DELETE FROM chunk WHERE chunk_id = ?", [(chunk,) for chunk, *_ in old]
            )
            self._database.execute_many(
                _NOTE_FORGOTTEN, [(board_id, last_ms + 1) for _, board_id, last_ms in old]
            )
        return len(old)

    def _append_one(self, run_id: int, batch: StampedBatch) -> StampedBatch | None:
        stream = self._identities.stream(batch.board, batch.boot, batch.channels)
        fresh = self._seen.add_new(stream.boot_id, batch)
        if fresh is None:
            return None
        # Bytes are kept as they lie in memory, so the types must be right to the bit.
        columns = Columns(
            np.asarray(fresh.seq, np.int64),
            np.asarray(fresh.utc_ms, np.int64),
            np.asarray(fresh.marks, np.uint32),
            np.asarray(fresh.values, np.float64),
        )
        extent_ms = columns.extent_ms()
        self._dirty.mark(stream.board_id, *extent_ms)
        if len(columns) >= CHUNK_AT_ONCE:
            self._rows.add_chunks(stream, run_id, columns)
            self._seen.persist(stream.boot_id)
        elif extent_ms[1] - extent_ms[0] <= LONGEST_CHUNK_MS:
            self._rows.add_to_tail(stream, run_id, columns, extent_ms)
        else:
            for piece in pieces(columns):
                self._rows.add_to_tail(stream, run_id, piece, piece.extent_ms())
        return fresh


def _by_stream(rows: Iterable[StoredRow]) -> list[tuple[Stream, Columns]]:
    """Return the readings of `rows` stream by stream, in the order in which the streams first come."""
    found: dict[Stream, list[Columns]] = {}
    for row in rows:
        found.setdefault(row.stream, []).append(row.columns)
    return [(stream, join(parts)) for stream, parts in found.items()]


def _batch(stream: Stream, columns: Columns) -> StampedBatch:
    return StampedBatch(
        board=stream.board,
        boot=stream.boot,
        channels=stream.channels,
        seq=columns.seq,
        utc_ms=columns.utc_ms,
        values=columns.values,
        marks=columns.marks,
    )


_EXTENT = """
SELECT min(first_ms), max(last_ms) FROM (
    SELECT min(start_ms) + shift_ms AS first_ms, max(end_ms) + shift_ms AS last_ms
    FROM board JOIN chunk USING (board_id) JOIN run USING (run_id) WHERE board = ?1 GROUP BY run_id
    UNION ALL
    SELECT min(start_ms) + shift_ms, max(end_ms) + shift_ms
    FROM board JOIN stream USING (board_id) JOIN tail USING (stream_id) JOIN run USING (run_id)
    WHERE board = ?1 AND batch_id > chunked_through GROUP BY run_id
)
"""
_NEXT = """
SELECT min(first_ms) FROM (
    SELECT min(start_ms) + shift_ms AS first_ms
    FROM board CROSS JOIN run CROSS JOIN chunk USING (board_id, run_id)
    WHERE board = ?1 AND start_ms >= ?2 - shift_ms - ?3 AND end_ms >= ?2 - shift_ms GROUP BY run_id
    UNION ALL
    SELECT min(start_ms) + shift_ms
    FROM board JOIN stream USING (board_id) JOIN tail USING (stream_id) JOIN run USING (run_id)
    WHERE board = ?1 AND batch_id > chunked_through AND end_ms >= ?2 - shift_ms GROUP BY run_id
)
"""
# A run that has just begun has changed nothing yet; but only its number tells two opposite shifts apart.
_TIMES_REVISION = """
SELECT ifnull(max(run_id), 0), ifnull(sum(shift_ms * run_id), 0), ifnull(sum(sure_through), 0) FROM run
"""
_NOTE_FORGOTTEN = """
INSERT INTO forgotten VALUES (?1, ?2)
ON CONFLICT (board_id) DO UPDATE SET before_ms = max(before_ms, ?2)
"""
_LAST_OF_ALL = """
SELECT max(last_ms) FROM (
    SELECT max(end_ms) + shift_ms AS last_ms FROM chunk JOIN run USING (run_id) GROUP BY run_id
    UNION ALL
    SELECT max(end_ms) + shift_ms FROM tail JOIN run USING (run_id) GROUP BY run_id
)
"""
_FIRST_ENDING_AFTER = """
SELECT min(batch) FROM (
    SELECT min(last_batch) AS batch FROM chunk JOIN run USING (run_id) WHERE end_ms >= ?1 - shift_ms
    UNION ALL
    SELECT min(batch_id) FROM tail JOIN run USING (run_id) WHERE end_ms >= ?1 - shift_ms
)
"""
_OLD_CHUNKS = """
SELECT chunk_id, board_id, start_ms + shift_ms, end_ms + shift_ms
FROM run CROSS JOIN board CROSS JOIN chunk USING (run_id, board_id)
WHERE start_ms < ?1 - shift_ms AND end_ms < ?1 - shift_ms
AND last_batch < (SELECT max(last_batch) FROM chunk)
"""
