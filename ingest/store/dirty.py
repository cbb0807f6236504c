"""Which minutes of which board have readings that the summaries do not know yet."""

from collections.abc import Callable
from dataclasses import dataclass

from ingest.store.database import Database
from ingest.store.intervals import Interval, IntervalTable

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class DirtySpan:
    """Readings of `board` in [from_ms, to_ms), whole minutes, came or moved since they were summarised."""

    board: str
    from_ms: int
    to_ms: int


class DirtyMinutes:
    """Durable marks, set in the same commit as what makes the summaries wrong."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._table = IntervalTable(database, "dirty")
        self._latest: dict[int, Interval] = {}
        self.when_marked: list[Callable[[int, int, int], None]] = []
        """Called with the arguments of `mark`, in its transaction."""
        database.when_undone.append(self._latest.clear)
        database.when_changed_elsewhere.append(self._latest.clear)

    def mark(self, board_id: int, first_ms: int, last_ms: int) -> None:
        """Mark the minutes from that of `first_ms` to that of `last_ms`."""
        for tell in self.when_marked:
            tell(board_id, first_ms, last_ms)
        first, last = first_ms // MINUTE_MS, last_ms // MINUTE_MS
        latest = self._latest.get(board_id)
        if latest is None or first < latest[0] or last > latest[1]:
            self._latest[board_id] = self._table.add(board_id, first, last)

    def clean(self, board_id: int, from_ms: int, to_ms: int) -> None:
        """Take back the marks on [from_ms, to_ms), whole minutes."""
        self._table.remove(board_id, from_ms // MINUTE_MS, to_ms // MINUTE_MS - 1)
        self._latest.pop(board_id, None)

    def touches(self, board_id: int, first_ms: int, last_ms: int) -> bool:
        """Return whether any minute from that of `first_ms` to that of `last_ms` is marked."""
        return bool(self._table.touching(board_id, first_ms // MINUTE_MS, last_ms // MINUTE_MS))

    def spans(self) -> list[DirtySpan]:
        """Return all marks, by board and then in time order."""
        rows = self._database.rows(
            "SELECT board, first, last FROM dirty JOIN board ON board_id = owner ORDER BY board, first"
        )
        return [DirtySpan(board, first * MINUTE_MS, (last + 1) * MINUTE_MS) for board, first, last in rows]
