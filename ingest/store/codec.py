"""Readings as few bytes: columns, each lossless, and pure (arrays in, bytes out).

A chunk is one byte of format, then each column in turn: sequence numbers, times, marks, then the channels.
A column is a head that says how to undo it, and a body compressed by zlib.  Boards report decimals with few
digits, so a column of numbers is first turned into whole numbers by the least power of ten that does it without
loss; whole numbers become differences to what was expected; the differences are cut into planes of their lowest
bytes, next bytes and so on, because the high planes are nearly all zero and zlib then takes them for nothing.
Whatever does not fit that pattern (NaN with a payload, -0.0, irrational values) is kept bit by bit.
"""

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FlagArray, FloatArray, IntArray

UnsignedArray = NDArray[np.uint64]

_FORMAT = 1
_NAN_BITS = np.array([np.nan]).view(np.int64)[0]
_MOST_DECIMALS = 9  # the wire allows no more
_LARGEST_EXACT = 2.0**53


class Expect(IntEnum):
    """What a column of whole numbers is compared with."""

    LEAST = 0  # its least value
    PREVIOUS = 1  # the value before
    LINE = 2  # a straight line from first to last


class Shape(IntEnum):
    """How a column of floats became whole numbers."""

    BITS = 0  # the bit patterns themselves
    DECIMAL = 1  # times a power of ten
    DECIMAL_WITH_GAPS = 2  # the same, with NaN here and there


# head: expect, width in bytes, length of the body, two whole numbers that the expectation needs
_HEAD = struct.Struct("<BBIqq")
# shape, decimals, length of the compressed bit mask of gaps
_FLOAT_HEAD = struct.Struct("<BBI")


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one stream: `seq`, `utc_ms`, `marks` (n,), `values` (n, channels)."""

    seq: IntArray
    utc_ms: IntArray
    marks: FlagArray
    values: FloatArray

    def __len__(self) -> int:
        return len(self.seq)

    def some(self, places: slice | NDArray[np.intp] | NDArray[np.bool_]) -> "Columns":
        """Return the readings at `places`."""
        return Columns(self.seq[places], self.utc_ms[places], self.marks[places], self.values[places])

    def shifted(self, delta_ms: int) -> "Columns":
        """Return them with `delta_ms` added to their times."""
        return self if delta_ms == 0 else replace(self, utc_ms=self.utc_ms + delta_ms)

    def without_mark(self, mark: int) -> "Columns":
        """Return them without a bit of `marks`."""
        return replace(self, marks=self.marks & np.uint32(~mark & 0xFFFFFFFF))


def pack_chunk(columns: Columns) -> bytes:
    """Return many readings as bytes; the times are taken as they are."""
    parts = [bytes([_FORMAT])]
    parts.append(pack_whole(columns.seq))
    parts.append(pack_whole(columns.utc_ms))
    parts.append(pack_whole(columns.marks.astype(np.int64)))
    parts.extend(pack_floats(column) for column in np.ascontiguousarray(columns.values.T))
    return b"".join(parts)


def unpack_chunk(data: bytes, n: int, n_channels: int) -> Columns:
    """Undo `pack_chunk`."""
    if data[0] != _FORMAT:
        raise ValueError(f"chunk of format {data[0]}, wanted {_FORMAT}")
    seq, place = unpack_whole(data, 1, n)
    utc_ms, place = unpack_whole(data, place, n)
    marks, place = unpack_whole(data, place, n)
    values = np.empty((n, n_channels))
    for channel in range(n_channels):
        values[:, channel], place = unpack_floats(data, place, n)
    return Columns(seq, utc_ms, marks.astype(np.uint32), values)


def pack_tail(columns: Columns) -> bytes:
    """Return a few readings as bytes, quickly; `compact` will pack them well."""
    return b"".join(
        (columns.seq.tobytes(), columns.utc_ms.tobytes(), columns.values.tobytes(), columns.marks.tobytes())
    )


def unpack_tail(data: bytes, n: int, n_channels: int) -> Columns:
    """Undo `pack_tail`."""
    values_end = 16 * n + 8 * n * n_channels
    return Columns(
        seq=np.frombuffer(data, np.int64, n),
        utc_ms=np.frombuffer(data, np.int64, n, offset=8 * n),
        values=np.frombuffer(data, np.float64, n * n_channels, offset=16 * n).reshape(n, n_channels),
        marks=np.frombuffer(data, np.uint32, n, offset=values_end),
    )


def tail_sequence(data: bytes, n: int) -> IntArray:
    """Return the sequence numbers alone out of `pack_tail`."""
    return np.frombuffer(data, np.int64, n)


def join(parts: Sequence[Columns]) -> Columns:
    """Return the readings of all `parts`, one after the other."""
    if len(parts) == 1:
        return parts[0]
    return Columns(
        np.concatenate([part.seq for part in parts]),
        np.concatenate([part.utc_ms for part in parts]),
        np.concatenate([part.marks for part in parts]),
        np.concatenate([part.values for part in parts]),
    )


def pack_whole(numbers: IntArray) -> bytes:
    """Return whole numbers, shape (n,), as bytes.  Arithmetic wraps around, so any int64 comes back."""
    candidates = [
        (Expect.LEAST, *_from_least(numbers)),
        (Expect.PREVIOUS, *_from_previous(numbers)),
        (Expect.LINE, *_from_line(numbers)),
    ]
    expect, rest, base, step = min(candidates, key=lambda candidate: _rough_bits(candidate[1]))
    return _pack_rest(rest, expect, base, step)


def unpack_whole(data: bytes, place: int, n: int) -> tuple[IntArray, int]:
    """Undo `pack_whole` from `place` on; return the numbers and the place after them."""
    expect, width, size, base, step = _HEAD.unpack_from(data, place)
    place += _HEAD.size
    rest = _unpack_rest(data[place : place + size], width, n)
    base = np.array(base, dtype=np.int64)
    if expect == Expect.LEAST:
        numbers = rest.view(np.int64) + base
    elif expect == Expect.PREVIOUS:
        numbers = np.cumsum(_un_zigzag(rest)) + base
    else:
        numbers = _un_zigzag(rest) + base + np.arange(n) * np.int64(step) // max(n - 1, 1)
    return numbers, place + size


def pack_floats(column: FloatArray) -> bytes:
    """Return floats, shape (n,), as bytes."""
    gaps = np.isnan(column)
    filled, mask = column, b""
    if gaps.any() and not gaps.all():
        # The value before a gap stands in for it, or the first value there is.
        source = np.where(gaps, 0, np.arange(len(column)))
        source = np.maximum.accumulate(source)
        source[: np.argmin(gaps)] = np.argmin(gaps)
        if (column[gaps].view(np.int64) == _NAN_BITS).all():
            filled, mask = column[source], zlib.compress(np.packbits(gaps).tobytes())
    found = _as_decimals(filled)
    if found is None:
        return _FLOAT_HEAD.pack(Shape.BITS, 0, 0) + pack_whole(column.view(np.int64))
    numbers, decimals = found
    shape = Shape.DECIMAL_WITH_GAPS if mask else Shape.DECIMAL
    return _FLOAT_HEAD.pack(shape, decimals, len(mask)) + mask + pack_whole(numbers)


def unpack_floats(data: bytes, place: int, n: int) -> tuple[FloatArray, int]:
    """Undo `pack_floats` from `place` on; return the floats and the place after them."""
    shape, decimals, mask_size = _FLOAT_HEAD.unpack_from(data, place)
    place += _FLOAT_HEAD.size
    mask = data[place : place + mask_size]
    numbers, place = unpack_whole(data, place + mask_size, n)
    if shape == Shape.BITS:
        return numbers.view(np.float64), place
    column = numbers / 10.0**decimals
    if shape == Shape.DECIMAL_WITH_GAPS:
        column[np.unpackbits(np.frombuffer(zlib.decompress(mask), np.uint8), count=n).view(np.bool_)] = np.nan
    return column, place


def _as_decimals(column: FloatArray) -> tuple[IntArray, int] | None:
    """Return whole numbers and a power of ten that give `column` back bit by bit, or None."""
    bits = column.view(np.int64)
    for decimals in range(_MOST_DECIMALS + 1):
        scale = 10.0**decimals
        scaled = np.rint(column * scale)
        if not (np.abs(scaled) < _LARGEST_EXACT).all():
            return None
        # Correctly rounded division gives the double nearest to the decimal, as reading its text did.
        if ((scaled / scale).view(np.int64) == bits).all():
            return scaled.astype(np.int64), decimals
    return None


def _from_least(numbers: IntArray) -> tuple[UnsignedArray, int, int]:
    base = int(numbers.min())
    return (numbers - np.int64(base)).view(np.uint64), base, 0


def _from_previous(numbers: IntArray) -> tuple[UnsignedArray, int, int]:
    return _zigzag(np.diff(numbers, prepend=numbers[:1])), int(numbers[0]), 0


def _from_line(numbers: IntArray) -> tuple[UnsignedArray, int, int]:
    n = len(numbers)
    rise = int(numbers[-1]) - int(numbers[0])
    if abs(rise) * n >= 2**62:
        return _from_previous(numbers)
    line = np.arange(n) * np.int64(rise) // max(n - 1, 1)
    return _zigzag(numbers - numbers[0] - line), int(numbers[0]), rise


def _zigzag(numbers: IntArray) -> UnsignedArray:
    return ((numbers << 1) ^ (numbers >> 63)).view(np.uint64)


def _un_zigzag(rest: UnsignedArray) -> IntArray:
    return ((rest >> np.uint64(1)) ^ (~(rest & np.uint64(1)) + np.uint64(1))).view(np.int64)


def _rough_bits(rest: UnsignedArray) -> float:
    return float(np.log2(rest + 1.0).sum())


def _pack_rest(rest: UnsignedArray, expect: Expect, base: int, step: int) -> bytes:
    largest = int(rest.max())
    width = (largest.bit_length() + 7) // 8
    planes = rest.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :width].T
    body = zlib.compress(planes.tobytes(), 6) if width else b""
    return _HEAD.pack(expect, width, len(body), base, step) + body


def _unpack_rest(body: bytes, width: int, n: int) -> UnsignedArray:
    planes = np.zeros((n, 8), np.uint8)
    if width:
        planes[:, :width] = np.frombuffer(zlib.decompress(body), np.uint8).reshape(width, n).T
    return planes.view("<u8").reshape(n).astype(np.uint64)
