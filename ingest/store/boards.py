"""What the boards said of themselves, and when they were last heard."""

import json
from dataclasses import asdict, dataclass

from firmware_host.messages import Hello
from ingest.store.database import Database, Row
from ingest.store.identities import Identities


@dataclass(frozen=True, slots=True)
class BoardRecord:
    """What is known of a board.  None where it has not happened."""

    board: str
    first_seen_ms: int | None
    last_seen_ms: int | None
    port: str | None
    hello: Hello | None


# When a board was last heard need not be known better than this, and each time it is written wears the card.
LAST_SEEN_WITHIN_MS = 10_000


class Boards:
    """One record for each board that was ever heard."""

    def __init__(self, database: Database, identities: Identities) -> None:
        self._database = database
        self._identities = identities
        self._written: dict[str, tuple[int, str]] = {}
        database.when_undone.append(self._written.clear)

    def seen(self, board: str, at_ms: int, port: str) -> None:
        """Record that the board was heard on `port` at `at_ms`.

        A time within LAST_SEEN_WITHIN_MS of the one on record, on the same port, is not worth a write.
        """
        written = self._written.get(board)
        if written and written[1] == port and 0 <= at_ms - written[0] < LAST_SEEN_WITHIN_MS:
            return
        with self._database.transaction():
            self._database.execute(
                "UPDATE board SET first_seen_ms = min(ifnull(first_seen_ms, ?1), ?1),"
                " last_seen_ms = max(ifnull(last_seen_ms, ?1), ?1), port = ?2 WHERE board_id = ?3",
                (at_ms, port, self._identities.board(board)),
            )
            self._written[board] = (at_ms, port)

    def hello(self, hello: Hello, at_ms: int, port: str) -> None:
        """Record that the board introduced itself."""
        with self._database.transaction():
            self._written.pop(hello.board, None)
            self.seen(hello.board, at_ms, port)
            self._database.execute(
                "UPDATE board SET hello = ? WHERE board_id = ?",
                (json.dumps(asdict(hello)), self._identities.board(hello.board)),
            )

    def restamp(self, from_ms: int, step_ms: int) -> None:
        """Move by `step_ms` what was recorded at `from_ms` or later: the clock that told it was wrong."""
        with self._database.transaction():
            self._written.clear()
            self._database.execute(
                "UPDATE board SET"
                " first_seen_ms = first_seen_ms + iif(first_seen_ms >= ?1, ?2, 0),"
                " last_seen_ms = last_seen_ms + iif(last_seen_ms >= ?1, ?2, 0)",
                (from_ms, step_ms),
            )

    def get(self, board: str) -> BoardRecord | None:
        """Return what is known of a board, or None."""
        row = self._database.row(f"{_SELECT} WHERE board = ?", (board,))
        return _record(row) if row else None

    def n_starts(self, board: str) -> int:
        """Return how many of a board's starts there are readings of."""
        row = self._database.row(
            "SELECT count(*) FROM boot JOIN board USING (board_id) WHERE board = ?", (board,)
        )
        return int(row[0]) if row else 0

    def all(self) -> list[BoardRecord]:
        """Return all boards by name."""
        return [_record(row) for row in self._database.rows(f"{_SELECT} ORDER BY board")]


_SELECT = "SELECT board, first_seen_ms, last_seen_ms, port, hello FROM board"


def _record(row: Row) -> BoardRecord:
    board, first_seen_ms, last_seen_ms, port, text = row
    hello = None
    if text is not None:
        fields = json.loads(text)
        fields["channels"] = tuple(fields["channels"])
        fields["units"] = tuple(fields["units"])
        hello = Hello(**fields)
    return BoardRecord(board, first_seen_ms, last_seen_ms, port, hello)
