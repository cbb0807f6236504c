"""Runs of the daemon: each has one clock, which may turn out to have been wrong."""

from dataclasses import dataclass

from firmware_host.clock import Moment
from ingest.store.cursors import Cursors
from ingest.store.database import Database
from ingest.store.dirty import DirtyMinutes
from ingest.store.lock import WriterLock


@dataclass(frozen=True, slots=True)
class Run:
    """What is added to times of a run as stored, and up to which batch its marks of an unset clock are void."""

    shift_ms: int
    sure_through: int


class Runs:
    """The runs, and the one that appends now."""

    def __init__(self, database: Database, dirty: DirtyMinutes, cursors: Cursors, lock: WriterLock) -> None:
        self._lock = lock
        self._database = database
        self._dirty = dirty
        self._cursors = cursors
        self._runs: dict[int, Run] = {}
        self._current: int | None = None
        database.when_undone.append(self._runs.clear)
        database.when_changed_elsewhere.append(self._runs.clear)

    def begin(self, moment: Moment) -> int:
        """Record that this process begins to append, if no other does; return the number of its run."""
        self._lock.take()
        with self._database.transaction():
            self._database.want_sync()
            run_id = self._database.execute(
                "INSERT INTO run (mono_ms, wall_ms, synchronised) VALUES (?, ?, ?)",
                (moment.mono_ms, moment.wall_ms, int(moment.synchronised)),
            ).lastrowid
        assert run_id is not None
        self._current = run_id
        return run_id

    def running(self) -> int:
        """Return the number of the run that appends."""
        if self._current is None:
            raise RuntimeError("only a process that called begin_run may do this")
        return self._current

    def get(self, run_id: int) -> Run:
        """Return a run that exists."""
        found = self._runs.get(run_id)
        if found is None:
            row = self._database.row("SELECT shift_ms, sure_through FROM run WHERE run_id = ?", (run_id,))
            if row is None:
                raise LookupError(f"no run {run_id}")
            found = self._runs[run_id] = Run(*row)
        return found

    def restamp(self, run_id: int, delta_ms: int, newest_batch: int, *, clock_sure: bool) -> None:
        """Move all readings of a run by `delta_ms`."""
        old = self.get(run_id)
        new = Run(old.shift_ms + delta_ms, newest_batch if clock_sure else old.sure_through)
        with self._database.transaction():
            self._database.execute(
                "UPDATE run SET shift_ms = ?, sure_through = ? WHERE run_id = ?",
                (new.shift_ms, new.sure_through, run_id),
            )
            self._runs.pop(run_id, None)
            oldest_batch = None
            for board_id, first_ms, last_ms, oldest in self._database.rows(_EXTENTS, (run_id,)):
                self._dirty.mark(board_id, first_ms + old.shift_ms, last_ms + old.shift_ms)
                self._dirty.mark(board_id, first_ms + new.shift_ms, last_ms + new.shift_ms)
                oldest_batch = oldest if oldest_batch is None else min(oldest, oldest_batch)
            if oldest_batch is not None:
                self._cursors.set_back(oldest_batch - 1)


_EXTENTS = """
SELECT board_id, min(start_ms), max(end_ms), min(batch) FROM (
    SELECT board_id, start_ms, end_ms, last_batch AS batch FROM chunk WHERE run_id = ?1
    UNION ALL
    SELECT stream.board_id, start_ms, end_ms, batch_id FROM tail JOIN stream USING (stream_id)
    WHERE run_id = ?1 AND batch_id > chunked_through
) GROUP BY board_id
"""
