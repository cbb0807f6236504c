"""Plain boards, read by a mapping."""

import json
from io import BytesIO
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.errors import KeeperError
from firmware_host.lines import MAX_CONTENT_BYTES, GarbageReason, Parser
from firmware_host.mapped import NO_BOARD_MS, Field, LineMapping, MappedParser, MappingError
from firmware_host.messages import Garbage, Mark, Message, Reading
from firmware_host.wire import WireParser

CSV = LineMapping("csv", {"uva_counts": 1, "temperature_c": 2}, board_ms=0)
KEY_VALUE = LineMapping("key_value", {"uva_counts": "UVA", "temperature_c": "T"})
JSON = LineMapping("json", {"uva_counts": "uv.a", "temperature_c": "temp"}, board_ms="millis")


def started(mapping: LineMapping) -> MappedParser:
    """A parser that has its first line behind it."""
    parser = MappedParser(mapping, "shelf-2", "4f1c09ab")
    parser.feed(b"the rest of a line\n")
    return parser


def reading(
    seq: int = 0,
    board_ms: int = NO_BOARD_MS,
    values: tuple[float, ...] = (120.0, 25.5),
    boot: str = "4f1c09ab",
) -> Reading:
    return Reading("shelf-2", boot, seq, board_ms, ("uva_counts", "temperature_c"), values, 0, False)


@pytest.mark.parametrize(
    ("mapping", "line", "wanted"),
    [
        (CSV, b"1000,120,25.5", reading(board_ms=1000)),
        (CSV, b" 1000 , 120 , 25.5 , anything", reading(board_ms=1000)),
        (CSV, b"1000,+1.2e2,2550e-2\r", reading(board_ms=1000)),
        (CSV, b"1000.0,120.,25.50", reading(board_ms=1000)),
        (KEY_VALUE, b"UVA=120,T=25.5", reading()),
        (KEY_VALUE, b"T: 25.5, UVA: 120, mode=fast", reading()),
        (KEY_VALUE, b"Shelf light, UVA = 120, T = 25.5", reading()),
        (KEY_VALUE, b"lamp, lamp, UVA=120, T=25.5, x=1, x=2", reading()),
        (JSON, b'{"uv": {"a": 120, "b": 7}, "temp": 25.5, "millis": 1000}', reading(board_ms=1000)),
        (JSON, b'  {"millis":1000,"temp":25.5,"uv":{"a":1.2e2}} \r', reading(board_ms=1000)),
        (JSON, '{"µ":1,"millis":1000,"temp":25.5,"uv":{"a":120}}'.encode(), reading(board_ms=1000)),
    ],
)
def test_a_plain_line_is_read(mapping: LineMapping, line: bytes, wanted: Reading) -> None:
    parser = started(mapping)
    assert parser.feed(line + b"\n") == [wanted]
    assert parser.counts.readings == parser.counts.lines == 1


@pytest.mark.parametrize(
    ("format", "separator", "line"),
    [
        ("csv", ";", b"120;25.5"),
        ("csv", "\t", b"120\t25.5"),
        ("csv", "\t", b"120\t25.5\t"),
        ("csv", " ", b"120   25.5"),
        ("csv", " ", b" 120 \t 25.5 "),
        ("key_value", ";", b"0=120; 1=25.5"),
        ("key_value", " ", b"0=120 1=25.5"),
        ("key_value", " ", b"0: 120   1 : 25.5"),
    ],
)
def test_fields_may_be_separated_otherwise(
    format: Literal["csv", "key_value"],  # noqa: A002 - the mapping's own word
    separator: str,
    line: bytes,
) -> None:
    fields: list[Field] = [0, 1] if format == "csv" else ["0", "1"]
    mapping = LineMapping(format, {"uva_counts": fields[0], "temperature_c": fields[1]}, separator)
    assert started(mapping).feed(line + b"\n") == [reading()]


@pytest.mark.parametrize(
    ("mapping", "line", "reason"),
    [
        (CSV, b"millis,uva,temp", GarbageReason.NOT_A_NUMBER),
        (CSV, b"1000,120", GarbageReason.MISSING_FIELD),
        (CSV, b"1000,120,", GarbageReason.NOT_A_NUMBER),
        (CSV, b"1000,120,25.5C", GarbageReason.NOT_A_NUMBER),
        (CSV, b"1000,1_20,25.5", GarbageReason.NOT_A_NUMBER),
        (CSV, b"1000,0x78,25.5", GarbageReason.NOT_A_NUMBER),
        (CSV, "1000,١٢٠,25.5".encode(), GarbageReason.NOT_A_NUMBER),
        (CSV, b"1000,1e12,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"1000,-9e99,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"1000,1e999,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"1000,inf,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"1000,ovf,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"-1,120,25.5", GarbageReason.ABSURD_NUMBER),
        (CSV, b"nan,120,25.5", GarbageReason.MISSING_FIELD),
        (CSV, b"", GarbageReason.EMPTY),
        (CSV, b" \r", GarbageReason.EMPTY),
        (CSV, b"1000,1\x0020,25.5", GarbageReason.NOT_TEXT),
        (CSV, b"\xff\xfe1000,120,25.5", GarbageReason.NOT_TEXT),
        (CSV, b"1000,120,25.5" + b"," * MAX_CONTENT_BYTES, GarbageReason.TOO_LONG),
        (KEY_VALUE, b"UVA=120", GarbageReason.MISSING_FIELD),
        (KEY_VALUE, b"uva=120,T=25.5", GarbageReason.MISSING_FIELD),
        (KEY_VALUE, b"UVA=120,UVA=121,T=25.5", GarbageReason.REPEATED_CHANNEL),
        (KEY_VALUE, b"UVA=dark,T=25.5", GarbageReason.NOT_A_NUMBER),
        (KEY_VALUE, b"UVA,T", GarbageReason.NOT_A_NUMBER),
        (LineMapping("csv", {"uva_counts": 0}, "\t"), b"\t120\t25.5", GarbageReason.NOT_A_NUMBER),
        (JSON, b'{"uv": {"a": 120}, "temp": 25.5, "mil', GarbageReason.NOT_JSON),
        (JSON, b"[120, 25.5]", GarbageReason.NOT_JSON),
        (JSON, b"120", GarbageReason.NOT_JSON),
        (JSON, b"[" * MAX_CONTENT_BYTES, GarbageReason.NOT_JSON),
        (JSON, b'{"uv": 120, "temp": 25.5, "millis": 1}', GarbageReason.MISSING_FIELD),
        (JSON, b'{"uv": {"b": 120}, "temp": 25.5, "millis": 1}', GarbageReason.MISSING_FIELD),
        (JSON, b'{"uv": {"a": 120}, "temp": 25.5}', GarbageReason.MISSING_FIELD),
        (JSON, b'{"uv": {"a": true}, "temp": 25.5, "millis": 1}', GarbageReason.NOT_A_NUMBER),
        (JSON, b'{"uv": {"a": [1]}, "temp": 25.5, "millis": 1}', GarbageReason.NOT_A_NUMBER),
        (
            JSON,
            b'{"uv": {"a": 1' + b"0" * 400 + b'}, "temp": 25.5, "millis": 1}',
            GarbageReason.ABSURD_NUMBER,
        ),
    ],
)
def test_a_line_that_is_no_reading_is_counted_under_its_reason(
    mapping: LineMapping, line: bytes, reason: GarbageReason
) -> None:
    parser = started(mapping)
    garbage = [message for message in parser.feed(line + b"\n") if isinstance(message, Garbage)]
    assert {message.reason for message in garbage} == {reason}
    assert sum(message.n_bytes for message in garbage) == len(line) + 1
    assert parser.counts.garbage_lines[reason] == 1
    assert parser.counts.readings == 0


def test_readings_are_numbered_without_a_gap_over_garbage() -> None:
    heard = started(KEY_VALUE).feed(b"UVA=120,T=25.5\nhello\nUVA=120,T=25.5\n")
    assert [message.seq for message in heard if isinstance(message, Reading)] == [0, 1]


@pytest.mark.parametrize(
    ("mapping", "line"),
    [
        (CSV, b"1000,120,nan"),
        (CSV, b"1000,120,NaN"),
        (JSON, b'{"uv": {"a": 120}, "temp": null, "millis": 1000}'),
        (JSON, b'{"uv": {"a": 120}, "temp": NaN, "millis": 1000}'),
    ],
)
def test_a_channel_that_has_no_number_is_left_out_and_the_reading_marked(
    mapping: LineMapping, line: bytes
) -> None:
    wanted = Reading("shelf-2", "4f1c09ab", 0, 1000, ("uva_counts",), (120.0,), int(Mark.FAULT), False)
    assert started(mapping).feed(line + b"\n") == [wanted]


def test_the_first_line_after_opening_is_dropped_for_it_may_be_cut() -> None:
    parser = MappedParser(KEY_VALUE, "shelf-2", "4f1c09ab")
    assert parser.feed(b"UVA=20,T=25.5\nUVA=120,T=25.5\n") == [
        Garbage(14, GarbageReason.FIRST_LINE, "UVA=20,T=25.5"),
        reading(),
    ]


def test_an_unfinished_last_line_is_dropped_for_its_number_may_be_cut() -> None:
    parser = started(KEY_VALUE)
    assert parser.feed(b"UVA=120,T=2") == []
    assert parser.flush() == [Garbage(11, GarbageReason.CUT, "UVA=120,T=2")]
    assert parser.flush() == []


def test_a_restart_seen_by_the_boards_own_time_is_another_boot() -> None:
    heard = started(CSV).feed(b"5000,120,25.5\n6000,120,25.5\n10,120,25.5\n1010,120,25.5\n")
    assert heard == [
        reading(0, 5000),
        reading(1, 6000),
        reading(0, 10, boot="4f1c09ac"),
        reading(1, 1010, boot="4f1c09ac"),
    ]


def test_the_boot_after_the_last_one_is_the_first() -> None:
    parser = MappedParser(CSV, "shelf-2", "ffffffff")
    heard = parser.feed(b"\n5000,120,25.5\n10,120,25.5\n")
    assert heard[1:] == [reading(0, 5000, boot="ffffffff"), reading(0, 10, boot="00000000")]


def test_a_32_bit_counter_that_starts_again_does_not_wrap_the_boards_time() -> None:
    heard = started(CSV).feed(b"4294967000,120,25.5\n704,120,25.5\n1704,120,25.5\n")
    assert heard == [reading(0, 4294967000), reading(1, 4294968000), reading(2, 4294969000)]


def test_a_line_that_is_no_reading_does_not_move_the_boards_time() -> None:
    heard = started(CSV).feed(b"5000,120,25.5\n10,dark,25.5\n6000,120,25.5\n")
    assert [message for message in heard if isinstance(message, Reading)] == [
        reading(0, 5000),
        reading(1, 6000),
    ]


def test_a_megabyte_without_a_line_end_is_held_in_bounds() -> None:
    parser = started(CSV)
    for _ in range(250):
        parser.feed(b"x" * 4000)
        assert parser.held_bytes <= MAX_CONTENT_BYTES
    assert parser.feed(b"\n1000,120,25.5\n")[-1] == reading(board_ms=1000)
    assert parser.counts.garbage_bytes[GarbageReason.TOO_LONG] == 1_000_001
    assert parser.counts.garbage_lines[GarbageReason.TOO_LONG] == 1


some_bytes = st.one_of(
    st.binary(max_size=60),
    st.sampled_from(
        [b"\n", b"1000,120,25.5\n", b"UVA=1,T=2\n", b'{"uv":{"a":1},"temp":2,"millis":3}\n', b"9" * 600]
    ),
)


@given(st.sampled_from([CSV, KEY_VALUE, JSON]), st.lists(some_bytes, max_size=12))
def test_no_bytes_raise_and_every_byte_is_counted(mapping: LineMapping, pieces: list[bytes]) -> None:
    stream = b"".join(pieces)
    parser = MappedParser(mapping, "shelf-2", "4f1c09ab")
    heard = [message for piece in pieces for message in parser.feed(piece)] + parser.flush()
    line_by_line = MappedParser(mapping, "shelf-2", "4f1c09ab")
    wanted: list[Message] = []
    n_understood = 0
    for line in BytesIO(stream):
        messages = only_readings(line_by_line.feed(line))
        wanted += messages
        n_understood += len(line) if messages else 0
    line_by_line.flush()
    assert only_readings(heard) == wanted
    assert parser.counts == line_by_line.counts
    assert n_understood + parser.counts.garbage_bytes.total() == len(stream)


def only_readings(messages: list[Message]) -> list[Message]:
    return [message for message in messages if isinstance(message, Reading)]


@given(st.floats(-(10**11), 10**11), st.floats(-300, 300))
def test_a_number_printed_by_json_is_read_as_it_was(uva: float, temperature_c: float) -> None:
    line = json.dumps({"uv": {"a": uva}, "temp": temperature_c, "millis": 7})
    (heard,) = started(JSON).feed(line.encode() + b"\n")
    assert heard == reading(board_ms=7, values=(uva, temperature_c))


def test_both_parsers_are_parsers() -> None:
    parsers: list[Parser] = [WireParser(), MappedParser(CSV, "shelf-2", "4f1c09ab")]
    for parser in parsers:
        assert parser.feed(b"\n") != []
        assert parser.flush() == []
        assert parser.counts.garbage_lines.total() == 1


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        ({"format": "xml"}, "format: 'xml' is not a format. Write csv, key_value or json"),
        ({"channels": {}}, "channels: 0 channels"),
        ({"channels": {f"c{i}": i for i in range(17)}}, "17 channels"),
        ({"channels": {"UVA": 0}}, "'UVA' is not a channel name"),
        ({"channels": {"é": 0}}, "'é' is not a channel name"),
        ({"channels": {"uva": -1}}, "uva: -1 is not a column. Give the column's number, counted from 0"),
        ({"channels": {"uva": True}}, "True is not a column"),
        ({"channels": {"uva": "uva"}}, "'uva' is not a column"),
        ({"channels": {"uva": 0, "uvb": 0}}, "uvb: field 0 already serves uva"),
        ({"board_ms": 0}, "board_ms: field 0 already serves uva"),
        ({"board_ms": "ms"}, "board_ms: 'ms' is not a column"),
        ({"separator": ""}, "'' cannot separate fields"),
        ({"separator": ", "}, "cannot separate fields"),
        ({"separator": "."}, "cannot separate fields"),
        ({"separator": "7"}, "cannot separate fields"),
        ({"format": "key_value"}, "uva: 0 is not a key"),
        ({"format": "key_value", "channels": {"uva": ""}}, "'' is not a key"),
        ({"format": "json", "channels": {"uva": "uv..a"}}, "'uv..a' is not a key"),
    ],
)
def test_a_mapping_that_cannot_be_used_says_what_would_be_right(
    fields: dict[str, Any], complaint: str
) -> None:
    usable: dict[str, Any] = {"format": "csv", "channels": {"uva": 0}}
    with pytest.raises(MappingError) as caught:
        LineMapping(**(usable | fields))
    assert complaint in str(caught.value)
    assert isinstance(caught.value, KeeperError)
    assert caught.value.remedy
