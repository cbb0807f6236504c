"""The firmware's encoder and decoder under MicroPython against the host's, byte for byte."""

import binascii
import json
import subprocess
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.lines import GarbageReason
from firmware_host.messages import BoardTime, Hello, Mark, Reading, ReplayEnd
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
from tests.firmware_host.test_wire_examples import TABLE, line_of
from tests.hardware.conftest import ON_BOARD, on_board_environment
from tests.hardware.interpreters import PORTS, script_command

Ask = Callable[..., object]

MISSING = -(2**30)

boards = st.from_regex(r"[a-z0-9][a-z0-9-]{0,31}", fullmatch=True)
boots = st.from_regex(r"[0-9a-f]{8}", fullmatch=True)
twelve_digits = st.integers(0, 10**12 - 1)
names = st.from_regex(r"([ab]\.)?[a-z][a-z0-9_]{0,15}", fullmatch=True)
values = st.integers(MISSING + 1, 2**30 - 1) | st.integers(-1000, 1000) | st.just(MISSING)
channels = st.lists(st.tuples(names, values, st.integers(0, 4)), max_size=16, unique_by=lambda c: c[0])


@pytest.fixture(scope="module", params=PORTS)
def ask(request: pytest.FixtureRequest) -> Iterator[Ask]:
    """Ask the codec of the firmware, which keeps running for all examples of this file."""
    with subprocess.Popen(
        [*script_command(request.param), str(ON_BOARD / "codec.py")],
        env=on_board_environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        to_board, from_board = process.stdin, process.stdout

        def ask(what: str, **question: object) -> object:
            to_board.write(json.dumps({"what": what, **question}) + "\n")
            to_board.flush()
            return json.loads(from_board.readline())

        yield ask
        to_board.close()


@given(
    boards,
    boots,
    twelve_digits,
    st.tuples(st.integers(0, 10**9 - 1), st.integers(0, 999)),
    channels,
    st.integers(0, 7),
    st.booleans(),
)
def test_a_reading_is_encoded_as_the_host_encodes_it(
    ask: Ask,
    board: str,
    boot: str,
    seq: int,
    age: tuple[int, int],
    chosen: list[tuple[str, int, int]],
    marks: int,
    replayed: bool,
) -> None:
    board_ms = age[0] * 1000 + age[1]
    line = ask(
        "reading",
        verb="p" if replayed else "r",
        board=board,
        boot=boot,
        seq=seq,
        board_ms=str(board_ms),
        channels=[(name, "mV", decimals) for name, _, decimals in chosen],
        values=[value for _, value, _ in chosen],
        marks=marks,
    )
    there = [(name, value / 10**decimals) for name, value, decimals in chosen if value != MISSING]
    if not there:
        marks |= 4  # a fault: a reading without values says why
    expected = Reading(
        board,
        boot,
        seq,
        board_ms,
        tuple(name for name, _ in there),
        tuple(value for _, value in there),
        marks,
        replayed,
    )
    assert line == encode_reading(expected).decode()
    assert WireParser().feed(str(line).encode()) == [expected]


@given(boards, boots, twelve_digits, st.integers(1, 10**6), st.integers(0, 10**5))
def test_hello_time_and_end_are_encoded_as_the_host_encodes_them(
    ask: Ask, board: str, boot: str, token: int, cadence_ms: int, seq: int
) -> None:
    hello = Hello(board, boot, "1.2", "as7331", ("uva_counts", "t_c"), ("counts", "C"), cadence_ms, seq)
    assert (
        ask(
            "hello",
            board=board,
            boot=boot,
            firmware="1.2",
            sensor="as7331",
            cadence_ms=cadence_ms,
            ring=seq,
            channels=[("uva_counts", "counts", 0), ("t_c", "C", 1)],
        )
        == encode_hello(hello).decode()
    )
    assert (
        ask("time", board=board, boot=boot, token=token, board_ms=str(token))
        == encode_time(BoardTime(board, boot, token, token)).decode()
    )
    for last in (seq - 1, seq, seq + 4095):
        assert (
            ask("end", board=board, boot=boot, first_seq=seq, last_seq=last)
            == encode_end(ReplayEnd(board, boot, seq, last)).decode()
        )


@given(
    st.just(encode_hello_request())
    | twelve_digits.map(encode_time_request)
    | st.builds(
        lambda boot, a, b: encode_replay_request(boot, min(a, b), max(a, b)),
        boots,
        twelve_digits,
        twelve_digits,
    )
)
def test_each_request_of_the_host_is_understood(ask: Ask, line: bytes) -> None:
    request = parse_request(line)
    assert request is not None
    assert _as_request(ask("request", line=line.rstrip(b"\n").hex())) == request
    assert _as_request(ask("request", line=line.replace(b"\n", b"\r").hex())) == request
    assert _as_request(ask("request", line=(b"bk1 repl" + line.rstrip(b"\n")).hex())) == request


@given(st.data())
def test_board_and_host_agree_on_what_is_no_request(ask: Ask, data: st.DataObject) -> None:
    line = bytearray(encode_replay_request("0123abcd", 17, 90).rstrip(b"\n"))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(line) - 1))
        line[at : at + data.draw(st.integers(0, 2))] = data.draw(st.binary(max_size=2))
        if not line:
            break
    assert _as_request(ask("request", line=bytes(line).hex())) == parse_request(bytes(line))


@given(st.lists(st.sampled_from(["time?", "replay?", "hello?", "7", "-1", "0123abcd", "0", "", "+5", "1_0"])))
def test_board_and_host_agree_on_requests_with_a_right_crc(ask: Ask, fields: list[str]) -> None:
    body = " ".join(["bk1", *fields]).encode()
    line = body + b" ~%04X" % binascii.crc_hqx(body, 0xFFFF)
    assert _as_request(ask("request", line=line.hex())) == parse_request(line)


def test_the_crc_gives_the_published_check_value(ask: Ask) -> None:
    # CRC-16/CCITT-FALSE (also CRC-16/IBM-3740) of "123456789" in the public catalogue of CRC algorithms.
    assert ask("crc", data="123456789") == 0x29B1


@pytest.mark.parametrize("example", TABLE["valid"], ids=lambda example: example["name"])
def test_the_board_writes_the_lines_of_the_table(ask: Ask, example: dict[str, Any]) -> None:
    meaning = dict(example["meaning"])
    match example["kind"]:
        case "reading":
            replayed = meaning.pop("replayed")
            numbers = [_scaled(value) for value in meaning.pop("values")]
            channels = zip(meaning.pop("channels"), numbers, strict=True)
            line = ask(
                "reading",
                verb="p" if replayed else "r",
                board_ms=str(meaning.pop("board_ms")),
                channels=[(name, "mV", decimals) for name, (_, decimals) in channels],
                values=[value for value, _ in numbers],
                marks=sum(Mark[name.upper()] for name in meaning.pop("marks")),
                **meaning,
            )
        case "hello":
            pairs = zip(meaning.pop("channels"), meaning.pop("units"), strict=True)
            line = ask("hello", channels=[(name, unit, 0) for name, unit in pairs], **meaning)
        case "time":
            line = ask("time", board_ms=str(meaning.pop("board_ms")), **meaning)
        case _:
            line = ask("end", **meaning)
    assert line == example.get("written", example["line"]) + "\n"


@pytest.mark.parametrize("example", TABLE["request"], ids=lambda example: example["name"])
def test_the_board_reads_the_requests_of_the_table(ask: Ask, example: dict[str, Any]) -> None:
    answer = ask("request", line=line_of(example).hex())
    assert answer == [example["kind"], *example.get("meaning", {}).values()]


@pytest.mark.parametrize("section", ["not_a_request", "invalid", "valid"])
def test_the_board_ignores_the_lines_of_the_table_that_ask_nothing(ask: Ask, section: str) -> None:
    for example in TABLE[section]:
        line = line_of(example)
        if section != "invalid" or example["reason"] != GarbageReason.ECHO:
            assert ask("request", line=line.hex()) is None, example["name"]


def _scaled(value: float) -> tuple[int, int]:
    """Return the number as the firmware keeps it: a whole number and its decimals."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    decimals = len(text.partition(".")[2])
    return int(text.replace(".", "")), decimals


def _as_request(answer: object) -> Request | None:
    match answer:
        case ["hello?"]:
            return HelloRequest()
        case ["time?", int(token)]:
            return TimeRequest(token)
        case ["replay?", str(boot), int(first), int(last)]:
            return ReplayRequest(boot, first, last)
        case None:
            return None
        case _:
            raise AssertionError(answer)
