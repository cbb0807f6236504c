"""WIRE.md, held to its word."""

import ctypes
import re
import shutil
import subprocess
from binascii import crc_hqx
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host import wire_grammar
from firmware_host.lines import MAX_LINE_BYTES, GarbageReason
from firmware_host.mapped import LineMapping, MappedParser
from firmware_host.messages import Garbage, Mark, Reading
from firmware_host.wire import WireParser, encode_replay_request, parse_request

DOCUMENT = (Path(__file__).parents[2] / "firmware_host" / "WIRE.md").read_text(encoding="utf-8")

# In a code block or between backquotes; the rules of the grammar have no CRC in figures.
LINES = re.findall(r"^(bk1 .+ ~[0-9A-F]{4})$|`(bk1 [^`\n]+ ~[0-9A-F]{4})`", DOCUMENT, re.MULTILINE)


def code(language: str) -> str:
    (block,) = re.findall(rf"```{language}\n(.*?)```", DOCUMENT, re.DOTALL)
    return str(block)


@pytest.mark.parametrize("line", [(whole or quoted).encode("ascii") for whole, quoted in LINES])
def test_each_line_in_the_document_is_a_message_or_a_request(line: bytes) -> None:
    (message,) = WireParser().feed(line + b"\n")
    if isinstance(message, Garbage):
        assert message.reason == GarbageReason.ECHO
        assert parse_request(line) is not None


def test_the_document_shows_lines_of_every_kind() -> None:
    verbs = {(whole or quoted).split(" ")[1] for whole, quoted in LINES}
    assert verbs == {"r", "p", "hello", "time", "end", "hello?", "time?", "replay?"}


def crc_in_python() -> Callable[[bytes], int]:
    namespace: dict[str, Callable[[bytes], int]] = {}
    exec(code("python"), namespace)
    return namespace["crc16"]


def test_the_crc_in_python_is_right() -> None:
    crc16 = crc_in_python()
    assert crc16(b"123456789") == 0x29B1
    assert crc16(b"bk1 hello?") == crc_hqx(b"bk1 hello?", 0xFFFF)


@pytest.mark.skipif(shutil.which("cc") is None, reason="there is no C compiler here")
def test_the_crc_in_c_is_right(tmp_path: Path) -> None:
    source, library = tmp_path / "crc.c", tmp_path / "crc.so"
    source.write_text("#include <stddef.h>\n#include <stdint.h>\n" + code("c"))
    subprocess.run(["cc", "-Wall", "-Werror", "-shared", "-fPIC", "-o", library, source], check=True)
    crc16 = ctypes.CDLL(str(library)).crc16
    crc16.argtypes = [ctypes.c_char_p, ctypes.c_size_t]
    crc16.restype = ctypes.c_uint16
    assert crc16(b"123456789", 9) == 0x29B1
    assert crc16(b"\xff\xfe\x00", 3) == crc_hqx(b"\xff\xfe\x00", 0xFFFF)


def test_the_document_explains_every_reason_for_garbage_of_this_format() -> None:
    explained = set(re.findall(r"^\| ([^|`]+?) \|", DOCUMENT.split("## What is not a line")[1], re.MULTILINE))
    plain_boards_only = {GarbageReason.MISSING_FIELD, GarbageReason.NOT_JSON, GarbageReason.FIRST_LINE}
    assert set(GarbageReason) - plain_boards_only <= explained


def test_the_limits_in_the_document_are_those_of_the_parser() -> None:
    assert f"| {MAX_LINE_BYTES} bytes a line |" in DOCUMENT
    assert f"| {wire_grammar.MAX_CHANNELS} channels |" in DOCUMENT
    assert all(f"`!{mark.name.lower()}`" in DOCUMENT for mark in Mark if mark.name)


def test_the_longest_request_is_as_long_as_the_document_says() -> None:
    longest = encode_replay_request("4f1c09ab", 10**12 - 1, 10**12 - 1)
    assert f"| 64 bytes a request | the longest takes {len(longest)} |" in DOCUMENT


@pytest.mark.parametrize(
    ("line", "mapping"),
    [
        ("1042,2913,31.25", LineMapping("csv", {"uva_counts": 1, "temperature_c": 2}, board_ms=0)),
        ("UVA=2913, T=31.25", LineMapping("key_value", {"uva_counts": "UVA", "temperature_c": "T"})),
        ("UVA:2913 T:31.25", LineMapping("key_value", {"uva_counts": "UVA", "temperature_c": "T"}, " ")),
        (
            '{"uv": {"a": 2913}, "temp": 31.25}',
            LineMapping("json", {"uva_counts": "uv.a", "temperature_c": "temp"}),
        ),
    ],
)
def test_the_plain_lines_in_the_document_are_read(line: str, mapping: LineMapping) -> None:
    assert f"`{line}`" in DOCUMENT
    parser = MappedParser(mapping, "shelf-2", "4f1c09ab")
    _, reading = parser.feed(f"\n{line}\n".encode())
    assert isinstance(reading, Reading)
    assert reading.values == (2913.0, 31.25)
