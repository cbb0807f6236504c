"""The wire format beyond its table of examples: splits, noise, limits, and numbers both ways."""

import math
import string
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.lines import EXCERPT_CHARACTERS, MAX_CONTENT_BYTES, MAX_LINE_BYTES, GarbageReason
from firmware_host.messages import BoardTime, Garbage, Hello, Message, Reading, ReplayEnd
from firmware_host.wire import (
    WireParser,
    encode_end,
    encode_hello,
    encode_number,
    encode_reading,
    encode_replay_request,
    encode_time_request,
    parse_request,
)
from tests.firmware_host.test_wire_examples import encoded

READING = Reading("shelf-2", "4f1c09ab", 5, 1234, ("uva_counts", "temperature_c"), (12.0, 25.5), 0, False)
HELLO = Hello("shelf-2", "4f1c09ab", "1.0", "photodiode", ("uva_counts",), ("counts",), 1000, 600)

# --- what can be said ---

whole_numbers = st.integers(0, 10**12 - 1)
boards = st.from_regex(r"[a-z0-9][a-z0-9-]{0,31}", fullmatch=True)
boots = st.integers(0, 2**32 - 1).map(lambda number: f"{number:08x}")
channel_names = st.from_regex(r"([a-z][a-z0-9]{0,7}\.)?[a-z][a-z0-9_]{0,23}", fullmatch=True)
plain_texts = st.text(string.ascii_letters + string.digits + "._+/%^-", min_size=1, max_size=32)
values = st.one_of(
    st.integers(-(10**12) + 1, 10**12 - 1).map(float),
    st.builds(
        lambda n, decimals: round(n / 10**decimals, decimals),
        st.integers(-(10**12) + 1, 10**12 - 1),
        st.integers(0, 9),
    ),
    st.floats(-4096, 4096).map(lambda value: round(value, 9)),
)


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    channels = draw(st.lists(channel_names, max_size=6, unique=True))
    marks = draw(st.integers(0 if channels else 1, 7))
    return Reading(
        draw(boards),
        draw(boots),
        draw(whole_numbers),
        draw(whole_numbers),
        tuple(channels),
        tuple(draw(values) for _ in channels),
        marks,
        draw(st.booleans()),
    )


@st.composite
def hellos(draw: st.DrawFn) -> Hello:
    channels = draw(st.lists(channel_names, min_size=1, max_size=4, unique=True))
    return Hello(
        draw(boards),
        draw(boots),
        draw(plain_texts),
        draw(plain_texts),
        tuple(channels),
        tuple(draw(plain_texts) for _ in channels),
        draw(st.integers(1, 10**12 - 1)),
        draw(whole_numbers),
    )


times = st.builds(BoardTime, boards, boots, whole_numbers, whole_numbers)


@st.composite
def ends(draw: st.DrawFn) -> ReplayEnd:
    first_seq = draw(whole_numbers)
    return ReplayEnd(draw(boards), draw(boots), first_seq, draw(st.integers(first_seq - 1, 10**12 - 1)))


messages = st.one_of(readings(), hellos(), times, ends())


@st.composite
def split(draw: st.DrawFn, data: bytes) -> list[bytes]:
    cuts = draw(st.lists(st.integers(0, len(data)), max_size=12).map(sorted))
    return [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)], strict=True)]


def fed(parser: WireParser, pieces: Iterable[bytes]) -> list[Message]:
    return [message for piece in pieces for message in parser.feed(piece)]


def merged(all_messages: Iterable[Message]) -> list[Message]:
    """Join neighbouring garbage, whose division depends on how the bytes arrived."""
    joined: list[Message] = []
    for message in all_messages:
        before = joined[-1] if joined else None
        if isinstance(message, Garbage) and isinstance(before, Garbage):
            joined[-1] = Garbage(before.n_bytes + message.n_bytes, "", "")
        else:
            joined.append(Garbage(message.n_bytes, "", "") if isinstance(message, Garbage) else message)
    return joined


@given(st.data(), st.lists(messages, max_size=6))
def test_what_is_encoded_is_read_back_however_it_is_split(data: st.DataObject, said: list[Message]) -> None:
    parser = WireParser()
    pieces = data.draw(split(b"".join(map(encoded, said))))
    assert fed(parser, pieces) == said
    assert parser.held_bytes == 0


noise = st.one_of(
    st.binary(max_size=80),
    st.sampled_from([b"\n", b"\r\n", b"\0", b"bk1 ", b"bk1 r ", b" ~", b"x" * 400, b"\0" * 600]),
)


@given(st.data(), st.lists(st.one_of(noise, messages.map(encoded)), max_size=12))
def test_every_byte_is_either_understood_or_counted_as_garbage(
    data: st.DataObject, parts: list[bytes]
) -> None:
    stream = b"".join(parts)
    parser = WireParser()
    heard: list[Message] = []
    for piece in data.draw(split(stream)):
        heard += parser.feed(piece)
        assert parser.held_bytes <= MAX_CONTENT_BYTES
    heard += parser.flush()
    understood = [message for message in heard if not isinstance(message, Garbage)]
    garbage = [message for message in heard if isinstance(message, Garbage)]
    n_garbage = sum(message.n_bytes for message in garbage)
    # The noise is free to damage a line, but every line that came through came as it was written, its ending
    # being LF, CR LF, CR CR LF or, at the end of the link, none at all.
    n_understood = sum(len(encoded(message)) for message in understood)
    assert n_understood - 1 <= len(stream) - n_garbage <= n_understood + 2 * len(understood)
    assert parser.counts.garbage_bytes.total() == n_garbage
    assert parser.counts.lines == len(understood)
    assert parser.counts.readings == sum(isinstance(message, Reading) for message in understood)
    assert all(message.n_bytes > 0 for message in garbage)


@given(st.data(), st.lists(st.one_of(noise, messages.map(encoded)), max_size=12))
def test_the_split_of_the_bytes_changes_nothing(data: st.DataObject, parts: list[bytes]) -> None:
    stream = b"".join(parts)
    at_once, in_pieces = WireParser(), WireParser()
    wanted = at_once.feed(stream) + at_once.flush()
    heard = fed(in_pieces, data.draw(split(stream))) + in_pieces.flush()
    assert merged(heard) == merged(wanted)
    assert in_pieces.counts == at_once.counts


@given(st.data(), st.lists(st.one_of(noise.map(lambda some: some + b"\n"), messages), max_size=12))
def test_noise_costs_no_line_but_the_one_it_is_in(data: st.DataObject, parts: list[bytes | Message]) -> None:
    stream = b"".join(part if isinstance(part, bytes) else encoded(part) for part in parts)
    heard = fed(WireParser(), data.draw(split(stream)))
    understood = [message for message in heard if not isinstance(message, Garbage)]
    assert understood == [part for part in parts if not isinstance(part, bytes)]


@given(st.binary(max_size=2000))
def test_a_board_survives_any_request(data: bytes) -> None:
    parse_request(data)


@given(st.binary(max_size=300))
def test_excerpts_are_short_and_printable(data: bytes) -> None:
    for message in WireParser().feed(data + b"\n"):
        assert isinstance(message, Garbage)
        assert len(message.excerpt) <= EXCERPT_CHARACTERS
        assert message.excerpt.isprintable()


# --- noise that really happens ---


def test_a_megabyte_without_a_line_end_is_garbage_in_bounded_memory() -> None:
    parser = WireParser()
    chunk = bytes(range(11, 250)) * 17
    n_chunks = 1_000_000 // len(chunk) + 1
    heard = fed(parser, [chunk] * n_chunks)
    assert parser.held_bytes == MAX_CONTENT_BYTES
    assert sum(message.n_bytes for message in heard if isinstance(message, Garbage)) == (
        n_chunks * len(chunk) - MAX_CONTENT_BYTES
    )
    heard = parser.feed(b"\n" + encode_reading(READING))
    assert heard == [
        Garbage(MAX_CONTENT_BYTES + 1, GarbageReason.TOO_LONG, heard[0].excerpt),  # type: ignore[union-attr]
        READING,
    ]
    assert parser.counts.garbage_lines == {GarbageReason.TOO_LONG: 1}
    assert parser.counts.garbage_bytes == {GarbageReason.TOO_LONG: n_chunks * len(chunk) + 1}


def test_a_flood_of_empty_lines_is_one_message() -> None:
    parser = WireParser()
    assert parser.feed(b"\n" * 100_000) == [Garbage(100_000, GarbageReason.EMPTY, "")]
    assert parser.counts.garbage_lines == {GarbageReason.EMPTY: 100_000}


def test_the_line_behind_a_long_burst_of_noise_is_read() -> None:
    heard = WireParser().feed(b"\0" * 5000 + encode_hello(HELLO))
    assert heard == [Garbage(5000, GarbageReason.TOO_LONG, "." * 40), HELLO]


def test_the_longest_line_is_read_and_one_byte_more_is_not() -> None:
    longest = encode_reading(longest_reading())
    assert len(longest) == MAX_LINE_BYTES
    assert WireParser().feed(longest) == [longest_reading()]
    with_cr = longest[:-1] + b"\r\n"
    assert merged(WireParser().feed(with_cr)) == [Garbage(MAX_LINE_BYTES + 1, "", "")]


def longest_reading() -> Reading:
    """A reading that fills a line to the last byte."""
    reading = READING._replace(
        channels=tuple(f"channel_number_{i:02d}" for i in range(16)), values=(1.0,) * 16
    )
    zeros = [0] * 16
    for i in range(MAX_LINE_BYTES - len(encode_reading(reading))):
        zeros[i % 16] += 1
    return reading._replace(values=tuple(10.0**n for n in zeros))


def test_a_board_that_restarts_in_the_middle_of_a_line_is_heard() -> None:
    half = encode_reading(READING)[:30]
    parser = WireParser()
    assert parser.feed(half + encode_hello(HELLO)) == [
        Garbage(30, GarbageReason.CUT, "bk1 r shelf-2 4f1c09ab 5 1234 "),
        HELLO,
    ]


def test_two_lines_that_lost_the_line_end_between_them_give_the_second() -> None:
    first, second = encode_reading(READING), encode_reading(READING._replace(seq=6))
    garbage, reading = WireParser().feed(first[:-1] + second)
    assert garbage == Garbage(len(first) - 1, garbage.reason, garbage.excerpt)  # type: ignore[union-attr]
    assert reading == READING._replace(seq=6)


def test_no_single_wrong_bit_gets_through() -> None:
    line = encode_reading(READING)
    for position in range(len(line) - 1):
        for bit in range(8):
            damaged = bytearray(line)
            damaged[position] ^= 1 << bit
            heard = WireParser().feed(bytes(damaged))
            assert all(isinstance(message, Garbage) for message in heard)


def test_the_unfinished_end_of_a_link_is_garbage() -> None:
    parser = WireParser()
    assert parser.feed(b"bk1 r shelf") == []
    assert parser.flush() == [Garbage(11, GarbageReason.CUT, "bk1 r shelf")]
    assert parser.flush() == []
    assert parser.feed(encode_reading(READING)) == [READING]


def test_names_beyond_number_do_not_fill_the_memory() -> None:
    parser = WireParser()
    for i in range(1000):
        reading = READING._replace(board=f"b{i}", channels=(f"c{i}", "x"))
        assert parser.feed(encode_reading(reading)) == [reading]
    assert len(parser._boards) <= 64
    assert len(parser._channels) <= 64


# --- numbers, both ways ---


@given(values)
def test_a_number_reads_back_as_the_same_number(value: float) -> None:
    text = encode_number(value)
    assert float(text) == value
    assert math.copysign(1, float(text)) == math.copysign(1, value)


@given(st.floats())
def test_a_number_is_written_exactly_or_refused(value: float) -> None:
    try:
        text = encode_number(value)
    except ValueError:
        return
    assert float(text) == value


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, b"0"),
        (5, b"5"),
        (41.5, b"41.5"),
        (-0.25, b"-0.25"),
        (1e-9, b"0.000000001"),
        (0.00001, b"0.00001"),
        (999_999_999_999.0, b"999999999999"),
    ],
)
def test_a_number_is_written_as_short_as_it_can_be(value: float, text: bytes) -> None:
    assert encode_number(value) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e12, -1e12, 1e300, 0.1 + 0.2, 1e-10])
def test_a_number_without_a_form_in_the_grammar_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="12 digits"):
        encode_number(value)


# --- what the grammar cannot carry ---


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"board": "Shelf"}, "board name 'Shelf'"),
        ({"board": "-shelf"}, "board name"),
        ({"board": "é"}, "board name"),
        ({"board": ""}, "board name"),
        ({"boot": "4F1C09AB"}, "boot '4F1C09AB'"),
        ({"seq": -1}, "integer -1"),
        ({"seq": 10**12}, "integer"),
        ({"board_ms": -1}, "integer"),
        ({"channels": ("uva_counts", "T")}, "channel name 'T'"),
        ({"channels": ("uva_counts",)}, "1 channels with 2 values"),
        ({"channels": ("x", "x")}, "repeated"),
        ({"channels": (), "values": ()}, "neither channel nor mark"),
        ({"channels": tuple(f"c{i}" for i in range(17)), "values": (1.0,) * 17}, "17 channels"),
        ({"values": (1.0, math.nan)}, "nan"),
        ({"marks": 8}, "marks 8"),
        ({"marks": -1}, "marks -1"),
    ],
)
def test_a_reading_that_the_grammar_cannot_carry_is_refused(
    change: dict[str, object], complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        encode_reading(READING._replace(**change))  # type: ignore[arg-type]


def test_a_reading_longer_than_a_line_is_refused() -> None:
    channels = tuple(f"a_long_channel_name_{i:02d}" for i in range(16))
    with pytest.raises(ValueError, match="the limit is 512"):
        encode_reading(READING._replace(channels=channels, values=(-123456789.123,) * 16))


@pytest.mark.parametrize(
    "change",
    [
        {"firmware": "with space"},
        {"firmware": ""},
        {"sensor": "x" * 33},
        {"units": ("µW",)},
        {"units": ()},
        {"channels": (), "units": ()},
        {"cadence_ms": 0},
        {"ring": -1},
    ],
)
def test_a_hello_that_the_grammar_cannot_carry_is_refused(change: dict[str, object]) -> None:
    fields = {name: getattr(HELLO, name) for name in Hello.__slots__} | change
    with pytest.raises(ValueError, match=r"."):
        encode_hello(Hello(**fields))


def test_an_end_or_a_request_that_runs_backwards_is_refused() -> None:
    with pytest.raises(ValueError, match="from 40 to 38"):
        encode_end(ReplayEnd("shelf-2", "4f1c09ab", 40, 38))
    with pytest.raises(ValueError, match="from 40 to 39"):
        encode_replay_request("4f1c09ab", 40, 39)
    with pytest.raises(ValueError, match="integer -1"):
        encode_time_request(-1)
