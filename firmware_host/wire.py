"""The wire format of baskline boards: bytes to messages and back.  The grammar stands in WIRE.md."""

import re
from binascii import crc_hqx
from dataclasses import dataclass
from functools import lru_cache
from operator import index
from typing import Final, TypeAlias

from firmware_host import wire_grammar as grammar
from firmware_host.lines import MAX_LINE_BYTES, GarbageReason, LineParser
from firmware_host.messages import BoardTime, Hello, Message, Reading, ReplayEnd
from firmware_host.usual_reading import UsualReading

# Boards repeat their names in each line.  All caches are bounded, so that noise which happens to carry a
# right CRC cannot grow them.
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


class WireParser(LineParser):
    """Bytes of one link in, messages out; never an exception, and never more than one line held back.

    At the end of a link, a last line whose CRC is right is taken even though its ending never came.
    """

    def __init__(self) -> None:
        super().__init__()
        self._boards: dict[bytes, tuple[str, str]] = {}
        self._channels: dict[tuple[bytes, ...], tuple[str, ...]] = {}
        self._usual = UsualReading()

    def _take(self, line: bytes, end_bytes: int, messages: list[Message]) -> None:
        """Take one line; what cannot be read whole may still end in a whole line.

        A board that restarts in the middle of a line leaves half a line with a whole one behind it, often
        its hello, which must not be lost: hence the second try from the last start in the line.
        """
        usual = self._usual.expression
        if usual is not None and not self._overlong and (match := usual.fullmatch(line)):
            reading = self._usual.reading(match)
            if reading is not None:
                self._add_message(messages, reading)
                return
        start = 0
        message = None if self._overlong else self._understood(line)
        if message is None:
            start = line.rfind(grammar.START)
            if start > 0 or (start == 0 and self._overlong):
                message = self._understood(line[start:])
            if message is None:
                start = len(line) + end_bytes
        if start:
            skipped = line[:start]
            reason = GarbageReason.TOO_LONG if self._overlong else grammar.reason(skipped)
            self._add_garbage(messages, skipped, start, reason)
        if message is not None:
            self._add_message(messages, message)

    def _understood(self, line: bytes) -> Message | None:
        match = grammar.READING.fullmatch(line)
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
        marks = 0 if marks_text is None else grammar.MARKS_BY_TEXT.get(marks_text)
        if marks is None or not (names or marks):
            return None
        board, boot = self._boards.get(who) or self._remember_board(who)
        values = tuple(map(float, parts[1::2]))
        reading = Reading(board, boot, int(seq), int(board_ms), channels, values, marks, verb == b"p")
        self._usual.note(who, names, reading)
        return reading

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


def _decode_board_message(line: bytes) -> Hello | BoardTime | ReplayEnd | None:
    body = grammar.framed_body(line)
    if body is None:
        return None
    if match := grammar.HELLO.fullmatch(body):
        return _hello(match)
    if match := grammar.TIME.fullmatch(body):
        return BoardTime(_text(match[1]), _text(match[2]), int(match[3]), int(match[4]))
    if (match := grammar.END.fullmatch(body)) and int(match[4]) >= int(match[3]) - 1:
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


def parse_request(line: bytes) -> Request | None:
    """Return what the host asks for, read as a board reads it; None where it makes no sense."""
    line = line.rstrip(b"\r\n")
    body = grammar.framed_body(line[max(line.rfind(grammar.START), 0) :])
    if body is None:
        return None
    if body == grammar.HELLO_REQUEST:
        return HelloRequest()
    if match := grammar.TIME_REQUEST.fullmatch(body):
        return TimeRequest(int(match[1]))
    if (match := grammar.REPLAY_REQUEST.fullmatch(body)) and int(match[3]) >= int(match[2]):
        return ReplayRequest(_text(match[1]), int(match[2]), int(match[3]))
    return None


def encode_reading(reading: Reading) -> bytes:
    """Return the line of a reading; ValueError for what the grammar cannot carry."""
    if len(reading.channels) != len(reading.values):
        raise ValueError(f"{len(reading.channels)} channels with {len(reading.values)} values")
    if not 0 <= reading.marks <= grammar.ALL_MARKS:
        raise ValueError(f"unknown marks {reading.marks}")
    if not reading.channels and not reading.marks:
        raise ValueError("a reading with neither channel nor mark")
    verb = b"p" if reading.replayed else b"r"
    fields = [b"bk1", verb, _who(reading.board, reading.boot)]
    fields += [_integer(reading.seq), _integer(reading.board_ms)]
    names = _channels(reading.channels)
    fields += [name + b"=" + encode_number(value) for name, value in zip(names, reading.values, strict=True)]
    if reading.marks:
        fields.append(b"!" + grammar.MARKS_TO_TEXT[reading.marks])
    return _line(fields)


def encode_hello(hello: Hello) -> bytes:
    """Return the line of a hello; ValueError for what the grammar cannot carry."""
    if len(hello.channels) != len(hello.units):
        raise ValueError(f"{len(hello.channels)} channels with {len(hello.units)} units")
    if not hello.channels:
        raise ValueError("a hello without channels")
    if hello.cadence_ms < 1:
        raise ValueError(f"cadence of {hello.cadence_ms} ms")
    fields = [b"bk1", b"hello", _who(hello.board, hello.boot)]
    fields += [b"fw=" + _plain(hello.firmware), b"sensor=" + _plain(hello.sensor)]
    fields += [b"cadence_ms=" + _integer(hello.cadence_ms), b"ring=" + _integer(hello.ring)]
    names = _channels(hello.channels)
    fields += [name + b":" + _plain(unit) for name, unit in zip(names, hello.units, strict=True)]
    return _line(fields)


def encode_time(time: BoardTime) -> bytes:
    """Return the line of a board's time; ValueError for what the grammar cannot carry."""
    who = _who(time.board, time.boot)
    return _line([b"bk1", b"time", who, _integer(time.token), _integer(time.board_ms)])


def encode_end(end: ReplayEnd) -> bytes:
    """Return the line that ends a replay; ValueError for what the grammar cannot carry."""
    if end.last_seq < end.first_seq - 1:
        raise ValueError(f"replay from {end.first_seq} to {end.last_seq}")
    last_seq = b"-1" if end.last_seq == -1 else _integer(end.last_seq)
    return _line([b"bk1", b"end", _who(end.board, end.boot), _integer(end.first_seq), last_seq])


def encode_hello_request() -> bytes:
    """Return the line that asks a board to introduce itself."""
    return _line([grammar.HELLO_REQUEST])


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
    text = repr(float(value))
    if text.endswith(".0"):
        text = text[:-2]
    elif "e" in text:
        text = f"{value:.9f}".rstrip("0").removesuffix(".")
    data = text.encode("ascii")
    if grammar.NUMBER_TEXT.fullmatch(data) is None or float(data) != value:
        raise ValueError(f"{value!r} has no form of at most 12 digits, a point and 9 digits")
    return data


def _line(fields: list[bytes]) -> bytes:
    body = b" ".join(fields)
    line = b"%b ~%04X\n" % (body, crc_hqx(body, 0xFFFF))
    if len(line) > MAX_LINE_BYTES:
        raise ValueError(f"a line of {len(line)} bytes; the limit is {MAX_LINE_BYTES}")
    return line


@lru_cache(_CACHE_ENTRIES)
def _channels(channels: tuple[str, ...]) -> tuple[bytes, ...]:
    if len(channels) > grammar.MAX_CHANNELS:
        raise ValueError(f"{len(channels)} channels; the limit is {grammar.MAX_CHANNELS}")
    if len(set(channels)) < len(channels):
        raise ValueError("a channel is repeated")
    return tuple(_checked(grammar.CHANNEL_NAME, name, "channel name") for name in channels)


@lru_cache(_CACHE_ENTRIES)
def _who(board: str, boot: str) -> bytes:
    return _checked(grammar.BOARD_NAME, board, "board name") + b" " + _boot(boot)


def _boot(boot: str) -> bytes:
    return _checked(grammar.BOOT_NAME, boot, "boot")


def _plain(text: str) -> bytes:
    return _checked(grammar.PLAIN_TEXT, text, "text")


def _integer(value: int) -> bytes:
    if not 0 <= value < grammar.INTEGER_END:
        raise ValueError(f"integer {value} is outside the grammar")
    return b"%d" % index(value)


def _checked(rule: re.Pattern[bytes], text: str, what: str) -> bytes:
    data = text.encode("ascii", errors="replace")
    if rule.fullmatch(data) is None:
        raise ValueError(f"{what} {text!r} is outside the grammar")
    return data
