"""Runs of the daemon: each has one clock, which may turn out to have been wrong."""

from dataclasses import dataclass

from firmware_host.clock import Moment
from ingest.store.cursors import Cursors
from ingest.store.database import Database
from ingest.store.dirty import DirtyMinutes


@dataclass(frozen=True, slots=True)
class Run:
    """How a run's times and marks are to be read.

    `shift_ms` is added to times as stored; up to batch `sure_through` marks of an unset clock are void.
    """

    shift_ms: int
    sure_through: int
    first_batch: int


class Runs:
    """The runs, and the one that appends now."""

    def __init__(self, database: Database, dirty: DirtyMinutes, cursors: Cursors) -> None:
        self._database = database
        self._dirty = dirty
        self._cursors = cursors
        self._runs: dict[int, Run] = {}
        self._current: int | None = None
        database.when_undone.append(self._runs.clear)
        database.when_changed_elsewhere.append(self._runs.clear)

    def begin(self, moment: Moment, newest_batch: int) -> int:
        """Record that this process begins to append after `newest_batch`; return the number of its run."""
        with self._database.transaction():
            self._database.want_sync()
            run_id = self._database.execute(
                "INSERT INTO run (mono_ms, wall_ms, synchronised, first_batch) VALUES (?, ?, ?, ?)",
                (moment.mono_ms, moment.wall_ms, int(moment.synchronised), newest_batch + 1),
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
            row = self._database.row(
                "SELECT shift_ms, sure_through, first_batch FROM run WHERE run_id = ?", (run_id,)
            )
            if row is None:
                raise LookupError(f"no run {run_id}")
            found = self._runs[run_id] = Run(*row)
        return found

    def restamp(self, run_id: int, delta_ms: int, newest_batch: int, *, clock_sure: bool) -> None:
        """Move all readings of a run by `delta_ms`."""
        with self._database.transaction():
            old = self.get(run_id)
            shift_ms = old.shift_ms + delta_ms
            self._database.execute(
                "UPDATE run SET shift_ms = ?, sure_through = ? WHERE run_id = ?",
                (shift_ms, newest_batch if clock_sure else old.sure_through, run_id),
            )
            del self._runs[run_id]
            for board_id, first_ms, last_ms in self._database.rows(_EXTENTS, (run_id,)):
                self._dirty.mark(board_id, first_ms + old.shift_ms, last_ms + old.shift_ms)
                self._dirty.mark(board_id, first_ms + shift_ms, last_ms + shift_ms)
            self._cursors.set_back(old.first_batch - 1)


_EXTENTS = """
SELECT board_id, min(start_ms), max(end_ms) FROM (
    SELECT board_id, start_ms, end_ms FROM board CROSS JOIN chunk USING (board_id) WHERE run_id = ?1
    UNION ALL
    SELECT stream.board_id, start_ms, end_ms FROM tail CROSS JOIN stream USING (stream_id)
    WHERE run_id = ?1 AND batch_id > chunked_through
) GROUP BY board_id
"""
