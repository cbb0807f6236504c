"""Boards that run the hobbyist's own sketch: plain CSV, key=value or JSON lines, read by a mapping."""

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from calibrate.errors import KeeperError
from firmware_host import wire_grammar as grammar
from firmware_host.lines import GarbageReason, LineParser
from firmware_host.messages import Mark, Message, Reading

NO_BOARD_MS: Final = -1  # the board tells no time of its own: the time of arrival has to do

# The wire format carries no number from here on either.
_ABSURD: Final = 1e12

# 32-bit millisecond counters start again after 49.7 days.  A step back from the last hour of one round into
# the first hour of the next is such a round; every other step back is a restart of the board.
_ROUND_MS: Final = 1 << 32
_HOUR_MS: Final = 3_600_000

_DECIMAL = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NAN = re.compile(r"[+-]?nan", re.IGNORECASE)
_OVERFLOW = re.compile(r"[+-]?(?:inf|infinity|ovf)", re.IGNORECASE)  # as small boards print them
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_DIVIDER = re.compile(r"\s*[=:]\s*")

Field: TypeAlias = str | int


class MappingError(KeeperError):
    """A mapping that cannot be used."""


@dataclass(frozen=True, slots=True)
class LineMapping:
    """Which field of a line is which channel.

    A field is a column number from 0 (`csv`), a key (`key_value`) or a dotted key (`json`).  `board_ms` is
    the field with the board's milliseconds since its start, where the sketch prints one.  `separator` stands
    between the fields of `csv` and `key_value`; a blank means any run of white space.
    """

    format: Literal["csv", "key_value", "json"]
    channels: Mapping[str, Field]
    separator: str = ","
    board_ms: Field | None = None

    def __post_init__(self) -> None:
        if self.format not in ("csv", "key_value", "json"):
            raise MappingError(
                f"{self.format!r} is not a format", where="format", remedy="Write csv, key_value or json"
            )
        if not 1 <= len(self.channels) <= grammar.MAX_CHANNELS:
            raise MappingError(
                f"{len(self.channels)} channels",
                where="channels",
                remedy=f"Name 1 to {grammar.MAX_CHANNELS} channels",
            )
        for name in self.channels:
            if grammar.CHANNEL_NAME.fullmatch(name.encode("ascii", errors="replace")) is None:
                raise MappingError(
                    f"{name!r} is not a channel name",
                    where="channels",
                    remedy="Use small letters, digits and _, beginning with a letter, such as uva_counts",
                )
        self._check_separator()
        users: dict[Field, str] = {}
        wanted = list(self.channels.items())
        if self.board_ms is not None:
            wanted.append(("board_ms", self.board_ms))
        for user, field in wanted:
            self._check_field(user, field)
            if field in users:
                raise MappingError(
                    f"field {field!r} already serves {users[field]}",
                    where=user,
                    remedy="Give each its own field",
                )
            users[field] = user

    def _check_separator(self) -> None:
        if self.format == "json":
            return
        if len(self.separator) != 1 or self.separator.isalnum() or self.separator in "+-.=:\r\n":
            raise MappingError(
                f"{self.separator!r} cannot separate fields",
                where="separator",
                remedy='Use one character, such as "," or ";" or a blank',
            )

    def _check_field(self, user: str, field: Field) -> None:
        if self.format == "csv":
            if not isinstance(field, int) or isinstance(field, bool) or not 0 <= field < 256:
                raise MappingError(
                    f"{field!r} is not a column",
                    where=user,
                    remedy="Give the column's number, counted from 0",
                )
        elif not isinstance(field, str) or not all(field.split(".") if self.format == "json" else [field]):
            raise MappingError(
                f"{field!r} is not a key", where=user, remedy="Give the key that the board prints, as text"
            )


class _UnusableLine(Exception):  # noqa: N818 - it never leaves this module
    """A line that is no reading."""

    def __init__(self, reason: GarbageReason) -> None:
        self.reason = reason


class MappedParser(LineParser):
    """Plain lines of one board in, readings out, numbered from 0 by this parser.

    The first line after opening is dropped, for it may lack its beginning, and so is a last line without its
    end: nothing in a plain line would tell.  A board whose own milliseconds go back has restarted: the boot
    counts up, and `seq` starts again.
    """

    def __init__(self, mapping: LineMapping, board: str, boot: str) -> None:
        super().__init__()
        self._mapping = mapping
        self._names = tuple(mapping.channels)
        self._fields = list(mapping.channels.values())
        if mapping.board_ms is not None:
            self._fields.append(mapping.board_ms)
        self._find = _FINDERS[mapping.format]
        self._board = board
        self._boot = boot
        self._next_seq = 0
        self._last_ms = 0  # as the board printed it
        self._rounds_ms = 0
        self._at_first_line = True

    def _take(self, line: bytes, end_bytes: int, messages: list[Message]) -> None:
        try:
            reading = self._reading(line, ended=end_bytes > 0)
        except _UnusableLine as unusable:
            self._add_garbage(messages, line, len(line) + end_bytes, unusable.reason)
        else:
            self._add_message(messages, reading)
        self._at_first_line = False

    def _reading(self, line: bytes, *, ended: bool) -> Reading:
        if self._overlong:
            raise _UnusableLine(GarbageReason.TOO_LONG)
        if not ended:
            raise _UnusableLine(GarbageReason.CUT)
        if self._at_first_line:
            raise _UnusableLine(GarbageReason.FIRST_LINE)
        found = self._find(_decoded(line), self._mapping.separator, self._fields)
        names: list[str] = []
        values: list[float] = []
        for name, cell in zip(self._names, found, strict=False):
            value = _number(cell)
            if value is not None:
                names.append(name)
                values.append(value)
        board_ms = NO_BOARD_MS
        if self._mapping.board_ms is not None:
            board_ms = self._extended(_milliseconds(found[-1]))
        whole = len(names) == len(self._names)
        reading = Reading(
            self._board,
            self._boot,
            self._next_seq,
            board_ms,
            self._names if whole else tuple(names),
            tuple(values),
            0 if whole else int(Mark.FAULT),
            False,
        )
        self._next_seq += 1
        return reading

    def _extended(self, printed_ms: int) -> int:
        """Return the board's milliseconds without wrapping; notice a restart."""
        if printed_ms < self._last_ms:
            if _ROUND_MS - _HOUR_MS <= self._last_ms < _ROUND_MS and printed_ms < _HOUR_MS:
                self._rounds_ms += _ROUND_MS
            else:
                self._boot = f"{(int(self._boot, 16) + 1) % _ROUND_MS:08x}"
                self._next_seq = 0
                self._rounds_ms = 0
        self._last_ms = printed_ms
        return self._rounds_ms + printed_ms


def _decoded(line: bytes) -> str:
    if _CONTROL.search(line):
        raise _UnusableLine(GarbageReason.NOT_TEXT)
    try:
        text = line.decode("utf-8").strip(" \r")  # a tab may separate fields, even empty ones
    except UnicodeDecodeError:
        raise _UnusableLine(GarbageReason.NOT_TEXT) from None
    if not text:
        raise _UnusableLine(GarbageReason.EMPTY)
    return text


def _csv_cells(text: str, separator: str, fields: Sequence[Field]) -> list[object]:
    cells = _split(text, separator)
    try:
        return [cells[int(field)] for field in fields]
    except IndexError:
        raise _UnusableLine(GarbageReason.MISSING_FIELD) from None


def _key_value_cells(text: str, separator: str, fields: Sequence[Field]) -> list[object]:
    cells: dict[Field, str] = {}
    for part in _split(_DIVIDER.sub("=", text), separator):
        key, _, value = part.strip().partition("=")
        if key in cells and key in fields:
            raise _UnusableLine(GarbageReason.REPEATED_CHANNEL)
        cells[key] = value
    try:
        return [cells[field] for field in fields]
    except KeyError:
        raise _UnusableLine(GarbageReason.MISSING_FIELD) from None


def _split(text: str, separator: str) -> list[str]:
    return text.split(None if separator == " " else separator)


def _json_cells(text: str, _separator: str, fields: Sequence[Field]) -> list[object]:
    try:
        top = json.loads(text)
    except (ValueError, RecursionError):
        raise _UnusableLine(GarbageReason.NOT_JSON) from None
    if not isinstance(top, dict):
        raise _UnusableLine(GarbageReason.NOT_JSON)
    found = []
    for field in fields:
        value: object = top
        for key in str(field).split("."):
            if not isinstance(value, dict) or key not in value:
                raise _UnusableLine(GarbageReason.MISSING_FIELD)
            value = value[key]
        found.append(value)
    return found


_FINDERS: Final = {"csv": _csv_cells, "key_value": _key_value_cells, "json": _json_cells}


def _number(cell: object) -> float | None:
    """Return the number in a cell; None where the board says that it has none (`nan`, `null`)."""
    value: float
    if cell is None:
        return None
    if isinstance(cell, str):
        value = _printed_number(cell.strip())
    elif isinstance(cell, int | float) and not isinstance(cell, bool):
        value = cell
    else:
        raise _UnusableLine(GarbageReason.NOT_A_NUMBER)
    if isinstance(value, float) and math.isnan(value):
        return None
    if not -_ABSURD < value < _ABSURD:
        raise _UnusableLine(GarbageReason.ABSURD_NUMBER)
    return float(value)


def _printed_number(text: str) -> float:
    if _DECIMAL.fullmatch(text):
        return float(text)
    if _NAN.fullmatch(text):
        return math.nan
    if _OVERFLOW.fullmatch(text):
        return math.inf
    raise _UnusableLine(GarbageReason.NOT_A_NUMBER)


def _milliseconds(cell: object) -> int:
    value = _number(cell)
    if value is None:
        raise _UnusableLine(GarbageReason.MISSING_FIELD)
    if value < 0:
        raise _UnusableLine(GarbageReason.ABSURD_NUMBER)
    return int(value)
