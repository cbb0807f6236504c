"""The line that a board says again and again, read by an expression of its own."""

import re
from binascii import crc_hqx
from typing import Final

from firmware_host import wire_grammar as grammar
from firmware_host.messages import Reading

# After so many lines of one board with the same channels the next are expected to be like them: looking for
# just these is four times as fast, and the expression for it takes as long to make as a hundred lines.
_LEARN_AFTER: Final = 32


class UsualReading:
    """Learns of a link what its readings usually look like: of which board, with which channels, no marks.

    What it reads is what the grammar says of the line; of any other line it says nothing.
    """

    def __init__(self) -> None:
        self.expression: re.Pattern[bytes] | None = None
        """What the usual line matches, once it is known."""
        self._board = self._boot = ""
        self._channels: tuple[str, ...] = ()
        self._alike: tuple[bytes, tuple[bytes, ...]] = (b"", ())
        self._n_alike = 0

    def note(self, who: bytes, names: tuple[bytes, ...], reading: Reading) -> None:
        """Take note of a reading that was not the usual one; `who` and `names` are as its line has them."""
        if reading.marks:
            return
        if self._alike != (who, names):
            self._alike, self._n_alike = (who, names), 0
        self._n_alike += 1
        if self._n_alike == _LEARN_AFTER:
            self.expression = _expression(who, names)
            self._board, self._boot, self._channels = reading.board, reading.boot, reading.channels

    def reading(self, match: re.Match[bytes]) -> Reading | None:
        """Return the reading of a line that matches, or None where its CRC is wrong."""
        body, verb, seq, board_ms, *values, crc = match.groups()
        if crc_hqx(body, 0xFFFF) != int(crc, 16):
            return None
        numbers = tuple(map(float, values))
        fields = self._board, self._boot, int(seq), int(board_ms), self._channels, numbers, 0, verb == b"p"
        return tuple.__new__(Reading, fields)  # as Reading(*fields), in less time


def _expression(who: bytes, names: tuple[bytes, ...]) -> re.Pattern[bytes]:
    """Return what of `grammar.READING` are readings of one board with these channels and no marks."""
    number = grammar.NUMBER_TEXT.pattern
    fields = b"".join(b" " + re.escape(name) + b"=(" + number + b")" for name in names)
    head = rb"bk1 ([rp]) " + re.escape(who) + rb" ([0-9]{1,12}) ([0-9]{1,12})"
    return re.compile(b"(" + head + fields + rb") ~([0-9A-F]{4})\r{0,2}")
