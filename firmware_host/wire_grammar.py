"""The grammar of WIRE.md as expressions, and which rule of it a line breaks."""

import re
from binascii import crc_hqx
from itertools import permutations
from typing import Final

from firmware_host.lines import GarbageReason
from firmware_host.messages import Mark

MAX_CHANNELS: Final = 16
INTEGER_END: Final = 10**12  # the first whole number that does not fit

START: Final = b"bk1 "
_BOARD: Final = rb"[a-z0-9][a-z0-9-]{0,31}"
_BOOT: Final = rb"[0-9a-f]{8}"
_INTEGER: Final = rb"[0-9]{1,12}"
_NUMBER: Final = rb"-?[0-9]{1,12}(?:\.[0-9]{1,9})?"
_CHANNEL: Final = rb"(?:[a-z][a-z0-9]{0,7}\.)?[a-z][a-z0-9_]{0,23}"
_TEXT: Final = rb"[A-Za-z0-9._+/%^-]{1,32}"


def _grammar(pattern: bytes) -> re.Pattern[bytes]:
    """Compile `pattern`, in which each <word> stands for a rule of the grammar."""
    rules = {
        b"<board>": _BOARD,
        b"<boot>": _BOOT,
        b"<integer>": _INTEGER,
        b"<number>": _NUMBER,
        b"<channel>": _CHANNEL,
        b"<text>": _TEXT,
    }
    for word, rule in rules.items():
        pattern = pattern.replace(word, rule)
    return re.compile(pattern)


READING = _grammar(
    rb"(bk1 ([rp]) (<board> <boot>) (<integer>) (<integer>)"
    rb"((?: <channel>=<number>){0,16})(?: !([a-z,]+))?) ~([0-9A-F]{4})\r{0,2}"
)
_FRAME = re.compile(rb"(.*) ~([0-9A-F]{4})\r{0,2}", re.DOTALL)
HELLO = _grammar(
    rb"bk1 hello (<board>) (<boot>) fw=(<text>) sensor=(<text>) cadence_ms=(<integer>) ring=(<integer>)"
    rb"((?: <channel>:<text>){1,16})"
)
TIME = _grammar(rb"bk1 time (<board>) (<boot>) (<integer>) (<integer>)")
END = _grammar(rb"bk1 end (<board>) (<boot>) (<integer>) (<integer>|-1)")
TIME_REQUEST = _grammar(rb"bk1 time\? (<integer>)")
REPLAY_REQUEST = _grammar(rb"bk1 replay\? (<boot>) (<integer>) (<integer>)")
HELLO_REQUEST: Final = b"bk1 hello?"
_REQUEST_VERBS: Final = frozenset({b"hello?", b"time?", b"replay?"})
_READING_VERBS: Final = frozenset({b"r", b"p"})
_BOARD_VERBS: Final = _READING_VERBS | {b"hello", b"time", b"end"}

_OTHER_VERSION = re.compile(rb"bk[0-9]{1,4} ")
_NOT_TEXT = re.compile(rb"[^\x20-\x7e\t\r]")
CHANNEL_NAME = _grammar(rb"<channel>")
NUMBER_TEXT = _grammar(rb"<number>")
BOARD_NAME = _grammar(rb"<board>")
BOOT_NAME = _grammar(rb"<boot>")
PLAIN_TEXT = _grammar(rb"<text>")
_ANY_NUMBER = re.compile(rb"-?[0-9]+(?:\.[0-9]+)?")

_MARK_NAMES: Final = {Mark.SATURATED: b"saturated", Mark.RANGED: b"ranged", Mark.FAULT: b"fault"}
ALL_MARKS: Final = int(Mark.SATURATED | Mark.RANGED | Mark.FAULT)
MARKS_BY_TEXT: Final[dict[bytes, int]] = {
    b",".join(_MARK_NAMES[mark] for mark in chosen): sum(chosen)
    for length in (1, 2, 3)
    for chosen in permutations(_MARK_NAMES, length)
}
MARKS_TO_TEXT: Final = {
    bits: b",".join(name for mark, name in _MARK_NAMES.items() if bits & mark)
    for bits in range(1, ALL_MARKS + 1)
}


def framed_body(line: bytes) -> bytes | None:
    """Return what stands before the CRC, where the CRC is right."""
    frame = _FRAME.fullmatch(line)
    if frame is None or crc_hqx(frame[1], 0xFFFF) != int(frame[2], 16):
        return None
    return frame[1]


def reason(line: bytes) -> GarbageReason:
    """Say why a line is no message, for the keeper who writes a board's program."""
    line = line.rstrip(b"\r\n")
    if not line:
        return GarbageReason.EMPTY
    if _NOT_TEXT.search(line):
        return GarbageReason.NOT_TEXT
    framed = _FRAME.fullmatch(line) is not None
    if not line.startswith(START):
        if _OTHER_VERSION.match(line):
            return GarbageReason.OTHER_VERSION
        return GarbageReason.CUT if framed else GarbageReason.FOREIGN
    if not framed:
        return GarbageReason.CUT
    body = framed_body(line)
    if body is None:
        return GarbageReason.WRONG_CRC
    return _broken_rule(body.split(b" "))


def _broken_rule(fields: list[bytes]) -> GarbageReason:
    """Say which rule a line with a right CRC breaks."""
    verb = fields[1] if len(fields) > 1 else b""
    if verb in _REQUEST_VERBS:
        return GarbageReason.ECHO
    if verb not in _BOARD_VERBS:
        return GarbageReason.UNKNOWN_VERB
    names: set[bytes] = set()
    for field in fields[4:]:
        name, separator, value = field.rpartition(b"=")
        if name in (b"fw", b"sensor"):
            continue
        if _ANY_NUMBER.fullmatch(value) and not NUMBER_TEXT.fullmatch(value):
            return GarbageReason.ABSURD_NUMBER
        if verb in _READING_VERBS and separator and not NUMBER_TEXT.fullmatch(value):
            return GarbageReason.NOT_A_NUMBER
        name = name or value.partition(b":")[0]
        if (separator or b":" in value) and name in names:
            return GarbageReason.REPEATED_CHANNEL
        names.add(name)
    last = fields[-1]
    if verb in _READING_VERBS and last.startswith(b"!") and last[1:] not in MARKS_BY_TEXT:
        return GarbageReason.UNKNOWN_MARK
    return GarbageReason.MALFORMED
