"""What every parser of board lines shares: a bounded line buffer, the reasons for garbage, and the counts."""

from abc import ABC, abstractmethod
from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, Protocol

from firmware_host.messages import Garbage, Message, Reading

# A line, its ending included.  A reading of 16 channels with the usual names and numbers takes about 350
# bytes, and the smallest board can still hold such a line whole.
MAX_LINE_BYTES: Final = 512
MAX_CONTENT_BYTES: Final = MAX_LINE_BYTES - 1  # without the LF

EXCERPT_CHARACTERS: Final = 40
_PRINTABLE = bytes(byte if 0x20 <= byte < 0x7F else ord(".") for byte in range(256))


class GarbageReason(StrEnum):
    """Why bytes made no sense; the text goes to the log and into the counts."""

    EMPTY = "empty line"
    TOO_LONG = "line too long"
    NOT_TEXT = "bytes that are not text"
    FOREIGN = "not a bk1 line"
    OTHER_VERSION = "another version of the format"
    CUT = "half a line"
    WRONG_CRC = "wrong CRC"
    ECHO = "a request, echoed"
    UNKNOWN_VERB = "unknown kind of line"
    ABSURD_NUMBER = "absurd number"
    NOT_A_NUMBER = "not a number"
    REPEATED_CHANNEL = "repeated channel"
    UNKNOWN_MARK = "unknown mark"
    MALFORMED = "fields out of order or out of their limits"
    MISSING_FIELD = "missing field"
    FIRST_LINE = "first line after opening, perhaps cut"
    NOT_JSON = "not a JSON object"


@dataclass(slots=True)
class Counts:
    """What a parser has seen so far.  `lines` are the understood ones, `readings` those among them."""

    lines: int = 0
    readings: int = 0
    garbage_lines: Counter[str] = field(default_factory=Counter)  # by reason
    garbage_bytes: Counter[str] = field(default_factory=Counter)  # by reason


class Parser(Protocol):
    """Bytes of one link in, messages out; never an exception, whatever the bytes.

    The bytes of the understood lines, the `n_bytes` of the garbage and `held_bytes` add up to what was fed.
    """

    @property
    def counts(self) -> Counts:
        """What was seen so far."""
        ...

    @property
    def held_bytes(self) -> int:
        """How many bytes of an unfinished line wait for its end; bounded."""
        ...

    def feed(self, data: bytes) -> list[Message]:
        """Return what `data` completes, in order."""
        ...

    def flush(self) -> list[Message]:
        """Return what the unfinished last line amounts to, at the end of a link."""
        ...


def excerpt(data: bytes) -> str:
    """Return the beginning of `data`, printable and short."""
    return data[:EXCERPT_CHARACTERS].translate(_PRINTABLE).decode("ascii")


class LineParser(ABC):
    """The line buffer under each parser: holds at most one line, and accounts for every byte.

    Garbage next to garbage of the same reason becomes one message, so that a flood of noise is no flood
    of objects.
    """

    def __init__(self) -> None:
        self._counts = Counts()
        self._rest = b""  # the unfinished line, at most MAX_CONTENT_BYTES of it
        self._overlong = False  # earlier bytes of the present line were dropped as garbage

    @property
    def counts(self) -> Counts:
        """What was seen so far."""
        return self._counts

    @property
    def held_bytes(self) -> int:
        """How many bytes of an unfinished line wait for its end; at most MAX_CONTENT_BYTES."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Message]:
        """Return what `data` completes, in order."""
        messages: list[Message] = []
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()
        for line in lines:
            if len(line) > MAX_CONTENT_BYTES:
                line = self._shortened(line, messages)
            self._take(line, 1, messages)
            self._overlong = False
        if len(self._rest) > MAX_CONTENT_BYTES:
            self._rest = self._shortened(self._rest, messages)
        return messages

    def flush(self) -> list[Message]:
        """Return what the unfinished last line amounts to, at the end of a link."""
        messages: list[Message] = []
        if self._rest:
            self._take(self._rest, 0, messages)
        self._rest = b""
        self._overlong = False
        return messages

    @abstractmethod
    def _take(self, line: bytes, end_bytes: int, messages: list[Message]) -> None:
        """Append what a line means; `end_bytes` of line ending (0 or 1) are no longer in it.

        With `_overlong`, the line is only the end of one that was too long.
        """

    def _shortened(self, line: bytes, messages: list[Message]) -> bytes:
        """Drop the beginning of a line that is too long."""
        surplus = len(line) - MAX_CONTENT_BYTES
        self._add_garbage(messages, line[:surplus], surplus, GarbageReason.TOO_LONG)
        self._overlong = True
        return line[surplus:]

    def _add_message(self, messages: list[Message], message: Message) -> None:
        messages.append(message)
        self._counts.lines += 1
        if type(message) is Reading:
            self._counts.readings += 1

    def _add_garbage(
        self, messages: list[Message], sample: bytes, n_bytes: int, reason: GarbageReason
    ) -> None:
        """Note `n_bytes` of garbage that begin with `sample`; the parts of a long line count as one line."""
        self._counts.garbage_lines[reason] += not self._overlong
        self._counts.garbage_bytes[reason] += n_bytes
        before = messages[-1] if messages else None
        if isinstance(before, Garbage) and before.reason == reason:
            messages[-1] = Garbage(before.n_bytes + n_bytes, before.reason, before.excerpt)
        else:
            messages.append(Garbage(n_bytes, reason, excerpt(sample)))
