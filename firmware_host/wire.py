"""The wire format of baskline boards: bytes to messages and back.  The grammar stands in WIRE.md."""

import re
from binascii import crc_hqx
from dataclasses import dataclass
from itertools import permutations
from typing import Final, TypeAlias

from firmware_host.lines import MAX_CONTENT_BYTES, MAX_LINE_BYTES, Counts, GarbageReason, GarbageTally
from firmware_host.messages import BoardTime, Hello, Mark, Message, Reading, ReplayEnd

MAX_CHANNELS: Final = 16

_START: Final = b"bk1 "
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


_READING = _grammar(
    rb"(bk1 ([rp]) (<board> <boot>) (<integer>) (<integer>)"
    rb"((?: <channel>=<number>){0,16})(?: !([a-z,]+))?) ~([0-9A-F]{4})\r?"
)
_FRAME = re.compile(rb"(.*) ~([0-9A-F]{4})\r?", re.DOTALL)
_HELLO = _grammar(
    rb"bk1 hello (<board>) (<boot>) fw=(<text>) sensor=(<text>) cadence_ms=(<integer>) ring=(<integer>)"
    rb"((?: <channel>:<text>){1,16})"
)
_TIME = _grammar(rb"bk1 time (<board>) (<boot>) (<integer>) (<integer>)")
_END = _grammar(rb"bk1 end (<board>) (<boot>) (<integer>) (<integer>|-1)")
_TIME_REQUEST = _grammar(rb"bk1 time\? (<integer>)")
_REPLAY_REQUEST = _grammar(rb"bk1 replay\? (<boot>) (<integer>) (<integer>)")
_HELLO_REQUEST: Final = b"bk1 hello?"
_REQUEST_VERBS: Final = frozenset({b"hello?", b"time?", b"replay?"})
_READING_VERBS: Final = frozenset({b"r", b"p"})
_BOARD_VERBS: Final = _READING_VERBS | {b"hello", b"time", b"end"}

_OTHER_VERSION = re.compile(rb"bk[0-9]{1,4} ")
_NOT_TEXT = re.compile(rb"[^\x20-\x7e\t\r]")
_CHANNEL_NAME = _grammar(rb"<channel>")
_NUMBER_TEXT = _grammar(rb"<number>")
_INTEGER_TEXT = _grammar(rb"<integer>")
_BOARD_NAME = _grammar(rb"<board>")
_BOOT_NAME = _grammar(rb"<boot>")
_PLAIN_TEXT = _grammar(rb"<text>")
_ANY_NUMBER = re.compile(rb"-?[0-9]+(?:\.[0-9]+)?")

_MARK_NAMES: Final = {Mark.SATURATED: b"saturated", Mark.RANGED: b"ranged", Mark.FAULT: b"fault"}
_ALL_MARKS: Final = int(Mark.SATURATED | Mark.RANGED | Mark.FAULT)
_MARKS_BY_TEXT: Final[dict[bytes, int]] = {
    b",".join(_MARK_NAMES[mark] for mark in chosen): sum(chosen)
    for length in (1, 2, 3)
    for chosen in permutations(_MARK_NAMES, length)
}
_MARKS_TO_TEXT: Final = {
    bits: b",".join(name for mark, name in _MARK_NAMES.items() if bits & mark)
    for bits in range(1, _ALL_MARKS + 1)
}

# Boards repeat their names in each line.  The caches are emptied when full, so that noise which happens to
# carry a right CRC cannot grow them.
_CACHE_ENTRIES: Final = 64


@dataclass(frozen=True, slots=True)
class HelloRequest:
    """The host asks a board to introduce itself."""


@dataclass(frozen=True, slots=True)
class TimeRequest:
    """The host asks for the board's time; the answer echoes `token`."""

    token: int


@dataclass(frozen=True, slots=True)
class ReplayRequest:
    """The host asks again for readings `first_seq` to `last_seq` inclusive of `boot`."""

    boot: str
    first_seq: int
    last_seq: int


Request: TypeAlias = HelloRequest | TimeRequest | ReplayRequest


class WireParser:
    """Bytes of one link in, messages out; never an exception, and never more than one line held back."""

    def __init__(self) -> None:
        self.counts = Counts()
        self._garbage = GarbageTally(self.counts)
        self._rest = b""  # the unfinished line, at most MAX_CONTENT_BYTES of it
        self._overlong = False  # earlier bytes of the unfinished line were dropped as garbage
        self._boards: dict[bytes, tuple[str, str]] = {}
        self._channels: dict[tuple[bytes, ...], tuple[str, ...]] = {}

    @property
    def held_bytes(self) -> int:
        """How many bytes of an unfinished line wait for its end."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Message]:
        """Return what `data` completes, in order."""
        messages: list[Message] = []
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()
        readings = 0
        for line in lines:
            if len(line) <= MAX_CONTENT_BYTES and not self._overlong:
                match = _READING.fullmatch(line)
                reading = self._reading(match) if match else None
                if reading is not None:
                    messages.append(reading)
                    readings += 1
                    continue
            self._other_line(self._shortened(line, messages), 1, messages)
        self._rest = self._shortened(self._rest, messages)
        self.counts.lines += readings
        self.counts.readings += readings
        return messages

    def flush(self) -> list[Message]:
        """Return what the unfinished last line amounts to, at the end of a link."""
        messages: list[Message] = []
        if self._rest or self._overlong:
            self._other_line(self._rest, 0, messages)
        self._rest = b""
        return messages

    def _shortened(self, line: bytes, messages: list[Message]) -> bytes:
        """Drop the beginning of a line that is too long; its end may still hold a whole line."""
        surplus = len(line) - MAX_CONTENT_BYTES
        if surplus <= 0:
            return line
        self._garbage.add(messages, surplus, GarbageReason.TOO_LONG, line, lines=0 if self._overlong else 1)
        self._overlong = True
        return line[surplus:]

    def _other_line(self, line: bytes, end_bytes: int, messages: list[Message]) -> None:
        """Take a line that is no plain reading: another message, the rest of a long line, or garbage.

        A board that restarts in the middle of a line leaves half a line with a whole one behind it; the
        last start in the line is tried, for the hello of a restart must not be lost.
        """
        start = 0
        message = None if self._overlong else self._understood(line)
        if message is None:
            start = line.rfind(_START)
            message = self._understood(line[start:]) if start >= 0 else None
        n_garbage = len(line) + end_bytes if message is None else start
        if n_garbage:
            if self._overlong:
                self._garbage.add(messages, n_garbage, GarbageReason.TOO_LONG, line, lines=0)
            else:
                self._garbage.add(messages, n_garbage, _reason(line[:n_garbage]), line[:n_garbage])
        if message is not None:
            messages.append(message)
            self.counts.lines += 1
            self.counts.readings += isinstance(message, Reading)
        self._overlong = False

    def _understood(self, line: bytes) -> Message | None:
        match = _READING.fullmatch(line)
        return self._reading(match) if match else _decode_board_message(line)

    def _reading(self, match: re.Match[bytes]) -> Reading | None:
        """Return the reading, or None where the CRC or what the grammar cannot say is wrong."""
        body, verb, who, seq, board_ms, fields, marks_text, crc = match.groups()
        if crc_hqx(body, 0xFFFF) != int(crc, 16):
            return None
        parts = fields.replace(b"=", b" ").split()
        names = tuple(parts[::2])
        channels = self._channels.get(names)
        if channels is None:
            if len(set(names)) < len(names):
                return None
            channels = self._remember_channels(names)
        marks = 0 if marks_text is None else _MARKS_BY_TEXT.get(marks_text)
        if marks is None or not (names or marks):
            return None
        board, boot = self._boards.get(who) or self._remember_board(who)
        values = tuple(map(float, parts[1::2]))
        return Reading(board, boot, int(seq), int(board_ms), channels, values, marks, verb == b"p")

    def _remember_channels(self, names: tuple[bytes, ...]) -> tuple[str, ...]:
        if len(self._channels) >= _CACHE_ENTRIES:
            self._channels.clear()
        channels = self._channels[names] = tuple(name.decode("ascii") for name in names)
        return channels

    def _remember_board(self, who: bytes) -> tuple[str, str]:
        if len(self._boards) >= _CACHE_ENTRIES:
            self._boards.clear()
        board, _, boot = who.decode("ascii").partition(" ")
        self._boards[who] = board, boot
        return board, boot


def _framed_body(line: bytes) -> bytes | None:
    """Return what stands before the CRC, where the CRC is right."""
    frame = _FRAME.fullmatch(line)
    if frame is None or crc_hqx(frame[1], 0xFFFF) != int(frame[2], 16):
        return None
    return frame[1]


def _decode_board_message(line: bytes) -> Hello | BoardTime | ReplayEnd | None:
    body = _framed_body(line)
    if body is None:
        return None
    if match := _HELLO.fullmatch(body):
        return _hello(match)
    if match := _TIME.fullmatch(body):
        return BoardTime(_text(match[1]), _text(match[2]), int(match[3]), int(match[4]))
    if (match := _END.fullmatch(body)) and int(match[4]) >= int(match[3]) - 1:
        return ReplayEnd(_text(match[1]), _text(match[2]), int(match[3]), int(match[4]))
    return None


def _hello(match: re.Match[bytes]) -> Hello | None:
    board, boot, firmware, sensor, cadence_ms, ring, fields = match.groups()
    parts = _text(fields).replace(":", " ").split()
    channels = tuple(parts[::2])
    if int(cadence_ms) == 0 or len(set(channels)) < len(channels):
        return None
    return Hello(
        _text(board),
        _text(boot),
        _text(firmware),
        _text(sensor),
        channels,
        tuple(parts[1::2]),
        int(cadence_ms),
        int(ring),
    )


def _text(data: bytes) -> str:
    return data.decode("ascii")


def _reason(line: bytes) -> GarbageReason:
    """Say why a line is no message, for the keeper who writes a board's program."""
    line = line.rstrip(b"\r\n")
    if not line:
        return GarbageReason.EMPTY
    if _NOT_TEXT.search(line):
        return GarbageReason.NOT_TEXT
    if not line.startswith(_START):
        return GarbageReason.OTHER_VERSION if _OTHER_VERSION.match(line) else GarbageReason.FOREIGN
    if _FRAME.fullmatch(line) is None:
        return GarbageReason.CUT
    body = _framed_body(line)
    if body is None:
        return GarbageReason.WRONG_CRC
    return _grammar_reason(body.split(b" "))


def _grammar_reason(fields: list[bytes]) -> GarbageReason:
    """Say which rule a line with a right CRC breaks."""
    verb = fields[1]
    if verb in _REQUEST_VERBS:
        return GarbageReason.ECHO
    if verb not in _BOARD_VERBS:
        return GarbageReason.UNKNOWN_VERB
    names: set[bytes] = set()
    for field in fields[4:]:
        name, separator, value = field.rpartition(b"=")
        if _ANY_NUMBER.fullmatch(value) and not _NUMBER_TEXT.fullmatch(value):
            return GarbageReason.ABSURD_NUMBER
        if verb in _READING_VERBS and separator and not _NUMBER_TEXT.fullmatch(value):
            return GarbageReason.NOT_A_NUMBER
        name = name or value.partition(b":")[0]
        if (separator or b":" in value) and name in names:
            return GarbageReason.REPEATED_CHANNEL
        names.add(name)
    last = fields[-1]
    if verb in _READING_VERBS and last.startswith(b"!") and last[1:] not in _MARKS_BY_TEXT:
        return GarbageReason.UNKNOWN_MARK
    return GarbageReason.MALFORMED


def parse_request(line: bytes) -> Request | None:
    """Return what the host asks for, read as a board reads it; None where it makes no sense."""
    line = line.rstrip(b"\r\n")
    body = _framed_body(line[max(line.rfind(_START), 0) :])
    if body is None:
        return None
    if body == _HELLO_REQUEST:
        return HelloRequest()
    if match := _TIME_REQUEST.fullmatch(body):
        return TimeRequest(int(match[1]))
    if (match := _REPLAY_REQUEST.fullmatch(body)) and int(match[3]) >= int(match[2]):
        return ReplayRequest(_text(match[1]), int(match[2]), int(match[3]))
    return None


def encode_reading(reading: Reading) -> bytes:
    """Return the line of a reading; ValueError for what the grammar cannot carry."""
    if len(reading.channels) != len(reading.values):
        raise ValueError(f"{len(reading.channels)} channels with {len(reading.values)} values")
    if not 0 <= reading.marks <= _ALL_MARKS:
        raise ValueError(f"unknown marks {reading.marks}")
    if not reading.channels and not reading.marks:
        raise ValueError("a reading with neither channel nor mark")
    _check_channels(reading.channels)
    verb = b"p" if reading.replayed else b"r"
    fields = [b"bk1", verb, _board(reading.board), _boot(reading.boot)]
    fields += [_integer(reading.seq), _integer(reading.board_ms)]
    fields += [
        name.encode("ascii") + b"=" + encode_number(value)
        for name, value in zip(reading.channels, reading.values, strict=True)
    ]
    if reading.marks:
        fields.append(b"!" + _MARKS_TO_TEXT[reading.marks])
    return _line(fields)


def encode_hello(hello: Hello) -> bytes:
    """Return the line of a hello; ValueError for what the grammar cannot carry."""
    if len(hello.channels) != len(hello.units):
        raise ValueError(f"{len(hello.channels)} channels with {len(hello.units)} units")
    if not hello.channels:
        raise ValueError("a hello without channels")
    if hello.cadence_ms < 1:
        raise ValueError(f"cadence of {hello.cadence_ms} ms")
    _check_channels(hello.channels)
    fields = [b"bk1", b"hello", _board(hello.board), _boot(hello.boot)]
    fields += [b"fw=" + _plain(hello.firmware), b"sensor=" + _plain(hello.sensor)]
    fields += [b"cadence_ms=" + _integer(hello.cadence_ms), b"ring=" + _integer(hello.ring)]
    fields += [
        name.encode("ascii") + b":" + _plain(unit)
        for name, unit in zip(hello.channels, hello.units, strict=True)
    ]
    return _line(fields)


def encode_time(time: BoardTime) -> bytes:
    """Return the line of a board's time; ValueError for what the grammar cannot carry."""
    return _line(
        [b"bk1", b"time", _board(time.board), _boot(time.boot), _integer(time.token), _integer(time.board_ms)]
    )


def encode_end(end: ReplayEnd) -> bytes:
    """Return the line that ends a replay; ValueError for what the grammar cannot carry."""
    if end.last_seq < end.first_seq - 1:
        raise ValueError(f"replay from {end.first_seq} to {end.last_seq}")
    last_seq = b"-1" if end.last_seq == -1 else _integer(end.last_seq)
    return _line([b"bk1", b"end", _board(end.board), _boot(end.boot), _integer(end.first_seq), last_seq])


def encode_hello_request() -> bytes:
    """Return the line that asks a board to introduce itself."""
    return _line([_HELLO_REQUEST])


def encode_time_request(token: int) -> bytes:
    """Return the line that asks for the board's time."""
    return _line([b"bk1", b"time?", _integer(token)])


def encode_replay_request(boot: str, first_seq: int, last_seq: int) -> bytes:
    """Return the line that asks again for readings `first_seq` to `last_seq` inclusive of `boot`."""
    if last_seq < first_seq:
        raise ValueError(f"replay from {first_seq} to {last_seq}")
    return _line([b"bk1", b"replay?", _boot(boot), _integer(first_seq), _integer(last_seq)])


def encode_number(value: float) -> bytes:
    """Return the shortest text that reads back as the same number; ValueError where the grammar has none."""
    text = repr(float(value)).removesuffix(".0").encode("ascii")
    if b"e" in text:
        text = f"{value:.9f}".rstrip("0").removesuffix(".").encode("ascii")
    if _NUMBER_TEXT.fullmatch(text) is None or float(text) != value:
        raise ValueError(f"{value!r} has no form of at most 12 digits, a point and 9 digits")
    return text


def _line(fields: list[bytes]) -> bytes:
    body = b" ".join(fields)
    line = b"%b ~%04X\n" % (body, crc_hqx(body, 0xFFFF))
    if len(line) > MAX_LINE_BYTES:
        raise ValueError(f"a line of {len(line)} bytes; the limit is {MAX_LINE_BYTES}")
    return line


def _check_channels(channels: tuple[str, ...]) -> None:
    if len(channels) > MAX_CHANNELS:
        raise ValueError(f"{len(channels)} channels; the limit is {MAX_CHANNELS}")
    if len(set(channels)) < len(channels):
        raise ValueError("a channel is repeated")
    for name in channels:
        _checked(_CHANNEL_NAME, name, "channel name")


def _board(board: str) -> bytes:
    return _checked(_BOARD_NAME, board, "board name")


def _boot(boot: str) -> bytes:
    return _checked(_BOOT_NAME, boot, "boot")


def _plain(text: str) -> bytes:
    return _checked(_PLAIN_TEXT, text, "text")


def _integer(value: int) -> bytes:
    return _checked(_INTEGER_TEXT, str(value), "integer")


def _checked(rule: re.Pattern[bytes], text: str, what: str) -> bytes:
    data = text.encode("ascii", errors="replace")
    if rule.fullmatch(data) is None:
        raise ValueError(f"{what} {text!r} is outside the grammar")
    return data
