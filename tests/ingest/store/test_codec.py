import struct
import zlib

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ingest.store.codec import (
    pack_chunk,
    pack_floats,
    pack_tail,
    pack_whole,
    unpack_chunk,
    unpack_floats,
    unpack_tail,
    unpack_whole,
)
from ingest.store.columns import Columns

int64s = st.integers(-(2**63), 2**63 - 1)
any_bits = st.integers(0, 2**64 - 1)
short_decimals = st.decimals(-(10**12), 10**12, places=3).map(float)
STRANGE = [
    float("nan"),
    -0.0,
    0.0,
    float("inf"),
    float("-inf"),
    5e-324,
    1.7976931348623157e308,
    2.0**53,
    0.1 + 0.2,
]


def _bits(floats: object) -> list[int]:
    return np.asarray(floats, np.float64).view(np.int64).tolist()  # type: ignore[no-any-return]


@given(st.lists(int64s, min_size=1, max_size=200))
@example([-(2**63), 2**63 - 1, 0])
@example([2**63 - 1, -(2**63)])
@example([7])
def test_any_whole_numbers_come_back(numbers: list[int]) -> None:
    packed = pack_whole(np.array(numbers, np.int64))
    found, end = unpack_whole(b"before" + packed + b"after", 6, len(numbers))
    assert found.tolist() == numbers
    assert end == 6 + len(packed)


@given(st.lists(any_bits, min_size=1, max_size=100))
def test_any_floats_come_back_bit_by_bit(bits: list[int]) -> None:
    floats = np.array(bits, np.uint64).view(np.float64)
    packed = pack_floats(floats)
    found, end = unpack_floats(packed, 0, len(bits))
    assert _bits(found) == _bits(floats)
    assert end == len(packed)


@given(st.lists(st.one_of(short_decimals, st.sampled_from(STRANGE)), min_size=1, max_size=100))
@example([float("nan")] * 9)
@example([float("nan"), 1.5, float("nan"), 2.5, float("nan")])
@example([0.0, -0.0])
def test_decimals_among_strange_values_come_back_bit_by_bit(values: list[float]) -> None:
    found, _ = unpack_floats(pack_floats(np.array(values)), 0, len(values))
    assert _bits(found) == _bits(values)


def test_a_nan_with_a_payload_keeps_it() -> None:
    odd = struct.unpack("<d", struct.pack("<Q", 0x7FF8_0000_DEAD_BEEF))[0]
    found, _ = unpack_floats(pack_floats(np.array([1.0, odd, 2.0])), 0, 3)
    assert _bits(found) == _bits([1.0, odd, 2.0])


@given(st.data(), st.integers(1, 40), st.integers(0, 4))
def test_chunk_and_tail_give_back_what_they_got(data: st.DataObject, n: int, n_channels: int) -> None:
    def draw(elements: st.SearchStrategy[int], size: int) -> list[int]:
        return data.draw(st.lists(elements, min_size=size, max_size=size))

    columns = Columns(
        seq=np.array(draw(int64s, n), np.int64),
        utc_ms=np.array(draw(int64s, n), np.int64),
        marks=np.array(draw(st.integers(0, 2**32 - 1), n), np.uint32),
        values=np.array(draw(any_bits, n * n_channels), np.uint64).view(np.float64).reshape(n, n_channels),
    )
    for found in (
        unpack_chunk(pack_chunk(columns), n, n_channels),
        unpack_tail(pack_tail(columns), n, n_channels),
    ):
        assert found.seq.tolist() == columns.seq.tolist()
        assert found.utc_ms.tolist() == columns.utc_ms.tolist()
        assert found.marks.tolist() == columns.marks.tolist()
        assert _bits(found.values.ravel()) == _bits(columns.values.ravel())
        assert found.values.shape == (n, n_channels)


def test_a_column_that_never_changes_takes_no_body() -> None:
    assert len(pack_floats(np.full(8192, 31.7))) == len(pack_floats(np.full(1, 31.7)))


def test_a_regular_column_takes_no_body() -> None:
    assert len(pack_whole(np.arange(8192) * 1000 + 1_750_000_000_000)) == len(pack_whole(np.arange(1)))


def test_gaps_do_not_cost_the_decimals_around_them() -> None:
    counts = np.tile([1500.0, 1501.0, 1502.0, 1501.0], 500)
    with_gaps = counts.copy()
    with_gaps[::50] = np.nan
    assert len(pack_floats(with_gaps)) < len(pack_floats(counts)) + 200


@pytest.mark.parametrize("cut", [0, 1, 5, 30, 60])
def test_a_damaged_chunk_is_an_error_and_not_numbers(cut: int) -> None:
    rng = np.random.default_rng(3)
    columns = Columns(
        seq=np.arange(100),
        utc_ms=np.arange(100) * 1000 + rng.integers(-3, 3, 100),
        marks=np.zeros(100, np.uint32),
        values=rng.normal(0, 1, (100, 1)),
    )
    data = pack_chunk(columns)
    with pytest.raises((ValueError, struct.error, zlib.error)):
        unpack_chunk(data[:cut], 100, 1)
