"""Small numbers for long names: boards, boots, streams, spots."""

from collections.abc import Sequence
from typing import NamedTuple

from ingest.store.database import Database


class Stream(NamedTuple):
    """Readings of one boot of one board with the same channels."""

    stream_id: int
    boot_id: int
    board_id: int
    board: str
    boot: str
    channels: tuple[str, ...]


class Identities:
    """Numbers of names, made when first needed.  Rows are never deleted, so what is cached stays true."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._boards: dict[str, int] = {}
        self._spots: dict[str, int] = {}
        self._streams: dict[tuple[str, str, tuple[str, ...]], Stream] = {}
        self._by_id: dict[int, Stream] = {}
        database.when_undone.append(self._forget)

    def find_board(self, board: str) -> int | None:
        """Return the board's number, or None if it was never named."""
        if board not in self._boards:
            row = self._database.row("SELECT board_id FROM board WHERE board = ?", (board,))
            if row is None:
                return None
            self._boards[board] = row[0]
        return self._boards[board]

    def board(self, board: str) -> int:
        """Return the board's number."""
        found = self.find_board(board)
        if found is None:
            found = self._insert("INSERT INTO board (board) VALUES (?)", (board,))
            self._boards[board] = found
        return found

    def find_boot(self, board: str, boot: str) -> int | None:
        """Return the boot's number, or None if nothing of it was ever stored."""
        row = self._database.row(
            "SELECT boot_id FROM boot JOIN board USING (board_id) WHERE board = ? AND boot = ?", (board, boot)
        )
        return None if row is None else int(row[0])

    def find_spot(self, spot: str) -> int | None:
        """Return the spot's number, or None if it was never named."""
        if spot not in self._spots:
            row = self._database.row("SELECT spot_id FROM spot WHERE spot = ?", (spot,))
            if row is None:
                return None
            self._spots[spot] = row[0]
        return self._spots[spot]

    def spot(self, spot: str) -> int:
        """Return the spot's number."""
        found = self.find_spot(spot)
        if found is None:
            found = self._insert("INSERT INTO spot (spot) VALUES (?)", (spot,))
            self._spots[spot] = found
        return found

    def stream(self, board: str, boot: str, channels: tuple[str, ...]) -> Stream:
        """Return the stream of these readings."""
        key = (board, boot, channels)
        found = self._streams.get(key)
        if found is None:
            found = self._streams[key] = self._find_or_make_stream(board, boot, channels)
        return found

    def stream_by_id(self, stream_id: int) -> Stream:
        """Return a stream that exists."""
        found = self._by_id.get(stream_id)
        if found is None:
            row = self._database.row(
                "SELECT boot_id, stream.board_id, board, boot, channels FROM stream"
                " JOIN boot USING (boot_id) JOIN board ON board.board_id = stream.board_id"
                " WHERE stream_id = ?",
                (stream_id,),
            )
            assert row is not None
            boot_id, board_id, board, boot, channels = row
            found = Stream(stream_id, boot_id, board_id, board, boot, tuple(channels.split()))
            self._by_id[stream_id] = found
        return found

    def _find_or_make_stream(self, board: str, boot: str, channels: tuple[str, ...]) -> Stream:
        board_id = self.board(board)
        boot_id = self.find_boot(board, boot)
        if boot_id is None:
            boot_id = self._insert("INSERT INTO boot (board_id, boot) VALUES (?, ?)", (board_id, boot))
        # Names hold no blank: on the wire a blank ends a field.
        text = " ".join(channels)
        row = self._database.row(
            "SELECT stream_id FROM stream WHERE boot_id = ? AND channels = ?", (boot_id, text)
        )
        stream_id = (
            row[0]
            if row
            else self._insert(
                "INSERT INTO stream (boot_id, board_id, channels) VALUES (?, ?, ?)", (boot_id, board_id, text)
            )
        )
        return Stream(stream_id, boot_id, board_id, board, boot, channels)

    def _insert(self, sql: str, values: Sequence[object]) -> int:
        with self._database.transaction():
            row_id = self._database.execute(sql, values).lastrowid
        assert row_id is not None
        return row_id

    def _forget(self) -> None:
        self._boards.clear()
        self._spots.clear()
        self._streams.clear()
        self._by_id.clear()
