"""Readings as few bytes: columns, each lossless, and pure (arrays in, bytes out).

A chunk is one byte of format, then each column in turn: sequence numbers, times, marks, then the channels.
A column is a head that says how to undo it, and a body compressed by zlib.  Boards report decimals with few
digits, so a column of numbers becomes whole numbers by the least power of ten that does it without loss.
Whole numbers become differences to what was expected of them.  The differences are cut into planes: all
lowest bytes, all next bytes and so on.  High planes are nearly all zero, and zlib takes them for nothing.
Whatever does not fit that pattern (NaN with a payload, -0.0, irrational values) is kept bit by bit.

Little-endian, as is every machine that this runs on.
"""

import struct
import zlib
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FloatArray, IntArray
from ingest.store.columns import Columns

UnsignedArray = NDArray[np.uint64]

_FORMAT = 1
_NAN_BITS = np.array([np.nan]).view(np.int64)[0]
_MOST_DECIMALS = 9  # the wire allows no more
_LARGEST_EXACT = 2.0**53
_TAIL_HEAD = 3
_LEVEL = 6  # above it zlib takes far longer and saves a hundredth


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


# expectation, width in bytes, length of the body, and two whole numbers that the expectation needs
_HEAD = struct.Struct("<BBIqq")
# shape, decimals, length of the compressed bit mask of gaps
_FLOAT_HEAD = struct.Struct("<BBI")


def pack_chunk(columns: Columns) -> bytes:
    """Return readings, at least one, as bytes."""
    return b"".join(
        (
            bytes([_FORMAT]),
            pack_whole(columns.seq),
            pack_whole(columns.utc_ms),
            pack_whole(columns.marks.astype(np.int64)),
            *(pack_floats(channel) for channel in np.ascontiguousarray(columns.values.T)),
        )
    )


def unpack_chunk(data: bytes, n: int, n_channels: int) -> Columns:
    """Undo `pack_chunk`; ValueError, struct.error or zlib.error when `data` is damaged."""
    if data[:1] != bytes([_FORMAT]):
        raise ValueError(f"no chunk of format {_FORMAT}")
    seq, place = unpack_whole(data, 1, n)
    utc_ms, place = unpack_whole(data, place, n)
    marks, place = unpack_whole(data, place, n)
    values = np.empty((n, n_channels))
    for channel in range(n_channels):
        values[:, channel], place = unpack_floats(data, place, n)
    return Columns(seq, utc_ms, marks.astype(np.uint32), values)


def pack_tail(columns: Columns) -> bytes:
    """Return a few readings as bytes, quickly.

    One after the other, so that rows of the tail can be strung together and undone in one go: sequence
    number, time, marks, and the bits of the values, eight bytes each.
    """
    words = np.empty((len(columns), _TAIL_HEAD + columns.values.shape[1]), np.int64)
    words[:, 0] = columns.seq
    words[:, 1] = columns.utc_ms
    words[:, 2] = columns.marks
    words[:, _TAIL_HEAD:].view(np.float64)[:] = columns.values
    return words.tobytes()


def unpack_tail(data: bytes, n: int, n_channels: int) -> Columns:
    """Undo `pack_tail`; ValueError when `data` is damaged."""
    words = np.frombuffer(data, np.int64).reshape(n, _TAIL_HEAD + n_channels)
    return Columns(
        seq=words[:, 0].copy(),
        utc_ms=words[:, 1].copy(),
        marks=words[:, 2].astype(np.uint32),
        values=np.ascontiguousarray(words[:, _TAIL_HEAD:]).view(np.float64),
    )


def pack_whole(numbers: IntArray) -> bytes:
    """Return whole numbers, shape (n,), as bytes.  Arithmetic wraps around, so any int64 comes back."""
    first = int(numbers[0])
    least = int(numbers.min())
    candidates = [
        (Expect.LEAST, (numbers - np.int64(least)).view(np.uint64), least, 0),
        (Expect.PREVIOUS, _zigzag(np.diff(numbers, prepend=numbers[:1])), first, 0),
    ]
    rise = int(numbers[-1]) - first
    if abs(rise) * len(numbers) < 2**62:  # else the line itself would overflow
        candidates.append((Expect.LINE, _zigzag(numbers - first - _line(rise, len(numbers))), first, rise))
    expect, rest, base, rise = min(candidates, key=lambda candidate: _rough_bits(candidate[1]))
    width = (int(rest.max()).bit_length() + 7) // 8
    planes = rest.view(np.uint8).reshape(-1, 8)[:, :width].T
    body = zlib.compress(planes.tobytes(), _LEVEL) if width else b""
    return _HEAD.pack(expect, width, len(body), base, rise) + body


def unpack_whole(data: bytes, place: int, n: int) -> tuple[IntArray, int]:
    """Undo `pack_whole` from `place` on; return the numbers and the place after them."""
    expect, width, size, base, rise = _HEAD.unpack_from(data, place)
    place += _HEAD.size
    planes = np.zeros((n, 8), np.uint8)
    if width:
        body = zlib.decompress(data[place : place + size])
        planes[:, :width] = np.frombuffer(body, np.uint8).reshape(width, n).T
    rest = planes.view(np.uint64).reshape(n)
    if expect == Expect.LEAST:
        numbers = rest.view(np.int64)
    elif expect == Expect.PREVIOUS:
        numbers = np.cumsum(_un_zigzag(rest))
    else:
        numbers = _un_zigzag(rest) + _line(rise, n)
    return numbers + np.int64(base), place + size


def pack_floats(channel: FloatArray) -> bytes:
    """Return floats, shape (n,) and contiguous, as bytes."""
    filled, mask = channel, b""
    gaps = np.isnan(channel)
    if gaps.any() and (channel[gaps].view(np.int64) == _NAN_BITS).all() and not gaps.all():
        filled = _filled(channel, gaps)
        mask = zlib.compress(np.packbits(gaps).tobytes(), _LEVEL)
    found = _as_decimals(filled)
    if found is None:
        return _FLOAT_HEAD.pack(Shape.BITS, 0, 0) + pack_whole(channel.view(np.int64))
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
    channel = numbers / 10.0**decimals
    if shape == Shape.DECIMAL_WITH_GAPS:
        gaps = np.unpackbits(np.frombuffer(zlib.decompress(mask), np.uint8), count=n)
        channel[gaps.view(np.bool_)] = np.nan
    return channel, place


def _filled(channel: FloatArray, gaps: NDArray[np.bool_]) -> FloatArray:
    """Return `channel` with the value before each gap in it, or the first there is."""
    source = np.maximum.accumulate(np.where(gaps, 0, np.arange(len(channel))))
    first = int(np.argmin(gaps))
    source[:first] = first
    return channel[source]


def _as_decimals(channel: FloatArray) -> tuple[IntArray, int] | None:
    """Return whole numbers and the power of ten that give `channel` back bit by bit, or None."""
    bits = channel.view(np.int64)
    for decimals in range(_MOST_DECIMALS + 1):
        scale = 10.0**decimals
        with np.errstate(over="ignore", invalid="ignore"):
            scaled = np.rint(channel * scale)
            if not (np.abs(scaled) < _LARGEST_EXACT).all():
                return None
        numbers = scaled.astype(np.int64)
        # Correctly rounded division gives the double nearest to the decimal, as reading its text did.
        if ((numbers / scale).view(np.int64) == bits).all():
            return numbers, decimals
    return None


def _line(rise: int, n: int) -> IntArray:
    return np.arange(n, dtype=np.int64) * rise // max(n - 1, 1)


def _zigzag(numbers: IntArray) -> UnsignedArray:
    """Return small numbers of either sign as small numbers without sign."""
    return ((numbers << 1) ^ (numbers >> 63)).view(np.uint64)


def _un_zigzag(rest: UnsignedArray) -> IntArray:
    return (rest >> np.uint64(1)).view(np.int64) ^ -(rest & np.uint64(1)).view(np.int64)


def _rough_bits(rest: UnsignedArray) -> float:
    return float(np.log2(rest + 1.0).sum())
