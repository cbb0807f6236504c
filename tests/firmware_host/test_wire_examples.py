"""The table of examples, against the parser and the encoder."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.lines import GarbageReason
from firmware_host.messages import BoardTime, Garbage, Hello, Mark, Message, Reading, ReplayEnd
from firmware_host.wire import (
    HelloRequest,
    ReplayRequest,
    Request,
    TimeRequest,
    WireParser,
    encode_end,
    encode_hello,
    encode_hello_request,
    encode_reading,
    encode_replay_request,
    encode_time,
    encode_time_request,
    parse_request,
)

Example = dict[str, Any]

TABLE = tomllib.loads((Path(__file__).parents[1] / "wire_examples.toml").read_text(encoding="utf-8"))

TRAILING_JUNK = b"\xffjunk without an end"


def of(section: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("example", TABLE[section], ids=lambda example: example["name"])


def line_of(example: Example) -> bytes:
    if "bytes_hex" in example:
        return bytes.fromhex(example["bytes_hex"])
    return str(example["line"]).encode("ascii")


def meaning_of(example: Example) -> Message:
    fields = dict(example["meaning"])
    for key in ("channels", "values", "units"):
        if key in fields:
            fields[key] = tuple(fields[key])
    match example["kind"]:
        case "reading":
            fields["marks"] = sum(Mark[name.upper()] for name in fields["marks"])
            return Reading(**fields)
        case "hello":
            return Hello(**fields)
        case "time":
            return BoardTime(**fields)
        case "end":
            return ReplayEnd(**fields)
    raise AssertionError(example["kind"])


def encoded(message: Message) -> bytes:
    match message:
        case Reading():
            return encode_reading(message)
        case Hello():
            return encode_hello(message)
        case BoardTime():
            return encode_time(message)
        case ReplayEnd():
            return encode_end(message)
    raise AssertionError(message)


def whole(data: bytes) -> list[bytes]:
    return [data]


def byte_by_byte(data: bytes) -> list[bytes]:
    return [data[i : i + 1] for i in range(len(data))]


def with_trailing_junk(data: bytes) -> list[bytes]:
    return [data + TRAILING_JUNK]


deliveries = pytest.mark.parametrize("delivery", [whole, byte_by_byte, with_trailing_junk])
endings = pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r\r\n"], ids=["lf", "crlf", "crcrlf"])


def deliver(parser: WireParser, pieces: list[bytes]) -> list[Message]:
    return [message for piece in pieces for message in parser.feed(piece)]


@of("valid")
@deliveries
@endings
def test_a_valid_line_means_what_the_table_says(
    example: Example, delivery: Callable[[bytes], list[bytes]], ending: bytes
) -> None:
    parser = WireParser()
    assert deliver(parser, delivery(line_of(example) + ending)) == [meaning_of(example)]
    assert parser.counts.lines == 1
    assert parser.counts.readings == (example["kind"] == "reading")
    assert parser.counts.garbage_lines.total() == 0
    assert parser.held_bytes == (len(TRAILING_JUNK) if delivery is with_trailing_junk else 0)


@of("invalid")
@deliveries
@endings
def test_an_invalid_line_is_counted_under_its_reason(
    example: Example, delivery: Callable[[bytes], list[bytes]], ending: bytes
) -> None:
    parser = WireParser()
    data = line_of(example) + ending
    (garbage,) = deliver(parser, delivery(data))
    assert isinstance(garbage, Garbage)
    assert garbage.reason == example["reason"]
    assert garbage.n_bytes == len(data)
    assert parser.counts.lines == 0
    assert parser.counts.garbage_lines == {garbage.reason: 1}
    assert parser.counts.garbage_bytes == {garbage.reason: len(data)}


@of("invalid")
def test_a_good_line_after_an_invalid_one_is_read(example: Example) -> None:
    good = TABLE["valid"][0]
    messages = WireParser().feed(line_of(example) + b"\n" + line_of(good) + b"\n")
    assert messages[1:] == [meaning_of(good)]


@of("valid")
def test_a_good_line_is_read_behind_half_a_line(example: Example) -> None:
    parser = WireParser()
    garbage, message = parser.feed(b"bk1 r shelf-2 4f1c09" + line_of(example) + b"\n")
    assert isinstance(garbage, Garbage)
    assert (garbage.n_bytes, garbage.reason) == (20, GarbageReason.CUT)
    assert message == meaning_of(example)


@of("valid")
def test_a_line_whose_ending_never_came_is_read_at_the_end_of_the_link(example: Example) -> None:
    parser = WireParser()
    assert parser.feed(line_of(example)) == []
    assert parser.flush() == [meaning_of(example)]
    assert parser.held_bytes == 0


@of("valid")
def test_the_encoder_writes_the_line_of_the_table(example: Example) -> None:
    written = str(example.get("written", example["line"]))
    assert encoded(meaning_of(example)) == written.encode("ascii") + b"\n"


@of("request")
@endings
def test_a_board_reads_a_request_as_the_table_says(example: Example, ending: bytes) -> None:
    kinds: dict[str, type[Request]] = {
        "hello?": HelloRequest,
        "time?": TimeRequest,
        "replay?": ReplayRequest,
    }
    wanted = kinds[example["kind"]](**example["meaning"])
    assert parse_request(line_of(example) + ending) == wanted
    assert parse_request(b"\0noise" + line_of(example) + ending) == wanted


@of("request")
def test_the_host_writes_the_request_of_the_table(example: Example) -> None:
    encoders: dict[str, Callable[..., bytes]] = {
        "hello?": encode_hello_request,
        "time?": encode_time_request,
        "replay?": encode_replay_request,
    }
    line = encoders[example["kind"]](**example["meaning"])
    assert line == line_of(example) + b"\n"
    assert len(line) <= 64, "WIRE.md promises boards that no request is longer"


@of("not_a_request")
def test_a_board_ignores_what_is_no_request(example: Example) -> None:
    assert parse_request(line_of(example)) is None


def test_the_table_has_an_example_of_every_reason_that_a_line_of_this_format_can_have() -> None:
    elsewhere = {
        GarbageReason.TOO_LONG,  # tested with lines too long for a table
        GarbageReason.MISSING_FIELD,  # plain boards only
        GarbageReason.NOT_JSON,
        GarbageReason.FIRST_LINE,
    }
    assert {example["reason"] for example in TABLE["invalid"]} == set(GarbageReason) - elsewhere
