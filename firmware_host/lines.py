"""What every parser of board lines shares: a bounded line buffer, the reasons for garbage, and the counts."""

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from firmware_host.messages import Garbage, Message

# A line, its ending included.  A full reading of 16 channels with short names takes about 350 bytes, and a
# microcontroller can still hold one such line whole.
MAX_LINE_BYTES = 512
MAX_CONTENT_BYTES = MAX_LINE_BYTES - 1  # without the LF

EXCERPT_CHARACTERS = 40
_PRINTABLE = bytes(byte if 0x20 <= byte < 0x7F else ord(".") for byte in range(256))


class GarbageReason(StrEnum):
    """Why bytes made no sense; the text goes to the log and into the counts."""

    EMPTY = "empty line"
    TOO_LONG = "line too long"
    NOT_TEXT = "bytes that are not text"
    FOREIGN = "not a bk1 line"
    OTHER_VERSION = "another version of the format"
    CUT = "line without its CRC"
    WRONG_CRC = "wrong CRC"
    ECHO = "a request, echoed"
    UNKNOWN_VERB = "unknown kind of line"
    ABSURD_NUMBER = "absurd number"
    NOT_A_NUMBER = "not a number"
    REPEATED_CHANNEL = "repeated channel"
    UNKNOWN_MARK = "unknown mark"
    MALFORMED = "fields out of order or out of their limits"
    MISSING_FIELD = "missing field"
    NOT_JSON = "not a JSON object"


@dataclass(slots=True)
class Counts:
    """What a parser has seen so far.  `lines` are the understood ones, `readings` those among them."""

    lines: int = 0
    readings: int = 0
    garbage_lines: Counter[str] = field(default_factory=Counter)  # by reason
    garbage_bytes: Counter[str] = field(default_factory=Counter)  # by reason


class Parser(Protocol):
    """Bytes of one link in, messages out; never an exception, whatever the bytes."""

    @property
    def counts(self) -> Counts:
        """What was seen so far."""
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


class GarbageTally:
    """Counts garbage and appends it to the messages, merged with like garbage just before it.

    Merging keeps a flood of noise from becoming a flood of objects.
    """

    def __init__(self, counts: Counts) -> None:
        self._counts = counts

    def add(
        self, messages: list[Message], n_bytes: int, reason: GarbageReason, sample: bytes, *, lines: int = 1
    ) -> None:
        """Note `n_bytes` of garbage; `lines` is 0 for more bytes of a line that was counted before."""
        self._counts.garbage_lines[reason] += lines
        self._counts.garbage_bytes[reason] += n_bytes
        before = messages[-1] if messages else None
        if isinstance(before, Garbage) and before.reason == reason:
            messages[-1] = Garbage(before.n_bytes + n_bytes, before.reason, before.excerpt)
        else:
            messages.append(Garbage(n_bytes, reason, excerpt(sample)))
