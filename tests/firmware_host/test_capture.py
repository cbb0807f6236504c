"""Captures: what is written is read back, whatever the bytes and wherever the power went."""

import io
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.errors import KeeperError
from firmware_host.capture import MAX_PAYLOAD_BYTES, CaptureError, CaptureWriter, read_capture
from firmware_host.clock import Moment
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic

AT = Moment(1042, 1_730_637_000_000, True)

STORY: list[Traffic] = [
    LinkOpened(AT, 1, "/dev/ttyACM0", "E6614103E7"),
    Received(Moment(2042, 1_730_637_001_000, False), 1, b"bk1 r shelf-2\n\0\xff\r\n"),
    Quiet(Moment(62_042, 1_730_637_061_000, True)),
    Received(Moment(62_043, 1_730_637_061_001, True), 1, b""),
    LinkClosed(Moment(62_044, 1_730_637_061_002, True), 1, "unplugged: «schluß»\n"),
]

moments = st.builds(Moment, st.integers(0, 2**53), st.integers(-(2**53), 2**53), st.booleans())
links = st.integers(0, 2**31)
texts = st.text(max_size=30)
items = st.one_of(
    st.builds(LinkOpened, moments, links, texts, texts),
    st.builds(LinkClosed, moments, links, texts),
    st.builds(Received, moments, links, st.binary(max_size=100)),
    st.builds(Quiet, moments),
)


def written(traffic: list[Traffic]) -> bytes:
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    for item in traffic:
        writer.write(item)
    return stream.getvalue()


@given(st.lists(items, max_size=8))
def test_what_is_written_is_read_back(traffic: list[Traffic]) -> None:
    reader = read_capture(io.BytesIO(written(traffic)))
    assert list(reader) == traffic
    assert reader.cut_bytes == 0


def test_a_capture_is_the_bytes_that_the_format_says() -> None:
    assert written(STORY) == (
        b"baskline-capture 1\n"
        b"open 1042 1730637000000 sync 1 45\n"
        b'{"port": "/dev/ttyACM0", "usb": "E6614103E7"}\n'
        b"data 2042 1730637001000 nosync 1 18\n"
        b"bk1 r shelf-2\n\0\xff\r\n\n"
        b"quiet 62042 1730637061000 sync 0 0\n"
        b"\n"
        b"data 62043 1730637061001 sync 1 0\n"
        b"\n"
        b"close 62044 1730637061002 sync 1 50\n"
        b'{"reason": "unplugged: \\u00abschlu\\u00df\\u00bb\\n"}\n'
    )


def test_the_example_in_the_description_of_the_format_is_a_capture() -> None:
    text = (Path(__file__).parents[2] / "firmware_host" / "CAPTURE.md").read_text(encoding="utf-8")
    example = text.split("```text\n")[1].split("```")[0].encode()
    assert example.startswith(b"baskline-capture 1\n")
    reader = read_capture(io.BytesIO(example))
    assert [type(item) for item in reader] == [LinkOpened, Received, Quiet, LinkClosed]
    assert reader.cut_bytes == 0


@given(st.lists(items, min_size=1, max_size=4), st.data())
def test_a_capture_that_ends_early_gives_every_whole_record(
    traffic: list[Traffic], data: st.DataObject
) -> None:
    whole = written(traffic[:-1])
    cut_record = written(traffic)[len(whole) :]
    n_left = data.draw(st.integers(0, len(cut_record) - 1))
    reader = read_capture(io.BytesIO(whole + cut_record[:n_left]))
    assert list(reader) == traffic[:-1]
    assert reader.cut_bytes == n_left
    assert list(reader) == []
    assert reader.cut_bytes == n_left


@given(st.lists(items, min_size=1, max_size=4), st.data())
def test_zeros_in_place_of_the_last_blocks_end_a_capture_like_a_cut(
    traffic: list[Traffic], data: st.DataObject
) -> None:
    whole = written(traffic[:-1])
    cut_record = written(traffic)[len(whole) :]
    n_left = data.draw(st.integers(0, len(cut_record) - 1))
    tail = cut_record[:n_left] + bytes(len(cut_record) - n_left + data.draw(st.integers(0, 3000)))
    reader = read_capture(io.BytesIO(whole + tail))
    assert list(reader) == traffic[:-1]
    assert reader.cut_bytes == len(tail)


@pytest.mark.parametrize(
    ("damage", "record"),
    [
        ((b" nosync ", b" perhaps "), 2),
        ((b"data 2042", b"data noon"), 2),
        ((b"nosync 1 18", b"nosync 1 16"), 2),
        ((b"nosync 1 18", b"nosync 1 -1"), 2),
        ((b"nosync 1 18", b"nosync 1 99999999999"), 2),
        ((b"nosync 1 18", b"nosync 1 18 0"), 2),
        ((b"data 2042", b"data 2042" + b"0" * 200), 2),
        ((b"data 2042", b"\0\0\0\0 2042"), 2),
        ((b"\r\n\nquiet", b"\r\n\0quiet"), 2),
        ((b'"usb"', b'"bus"'), 1),
        ((b'{"port"', b'["port"'), 1),
        ((b'{"reason"', b'{"season"'), 5),
    ],
)
def test_damage_before_the_end_names_the_record_and_the_byte(
    damage: tuple[bytes, bytes], record: int
) -> None:
    data = written(STORY)
    assert data.count(damage[0]) == 1
    reader = read_capture(io.BytesIO(data.replace(*damage)))
    assert [next(reader) for _ in range(record - 1)] == STORY[: record - 1]
    with pytest.raises(CaptureError) as caught:
        next(reader)
    assert caught.value.where == f"record {record} at byte {len(written(STORY[: record - 1]))}"
    assert "cut the file there" in caught.value.remedy


@given(st.binary(max_size=300))
def test_no_bytes_make_reading_fail_but_with_a_capture_error(junk: bytes) -> None:
    for data in (junk, written([]) + junk, written(STORY) + junk):
        with suppress(CaptureError):
            list(read_capture(io.BytesIO(data)))


@pytest.mark.parametrize("data", [b"", b"baskline-cap", b"bk1 r shelf-2\n", b"\0" * 1000])
def test_a_file_that_is_no_capture_is_refused(data: bytes) -> None:
    with pytest.raises(CaptureError, match="not a capture file"):
        read_capture(io.BytesIO(data))


def test_a_later_version_is_refused_by_name() -> None:
    with pytest.raises(CaptureError, match="version '2'") as caught:
        read_capture(io.BytesIO(b"baskline-capture 2\nwhatever"))
    assert isinstance(caught.value, KeeperError)


def test_a_record_that_could_not_be_read_back_is_not_written() -> None:
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    with pytest.raises(ValueError, match="limit"):
        writer.write(Received(AT, 1, bytes(MAX_PAYLOAD_BYTES + 1)))
    assert stream.getvalue() == written([])


def test_a_capture_goes_through_a_real_file(tmp_path: Path) -> None:
    path = tmp_path / "evening.capture"
    with path.open("wb") as stream:
        writer = CaptureWriter(stream)
        for item in STORY:
            writer.write(item)
    with path.open("rb") as stream:
        assert list(read_capture(stream)) == STORY
