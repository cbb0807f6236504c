"""What a parser has learned of a link's usual line changes nothing of what it understands."""

from binascii import crc_hqx

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.messages import Reading
from firmware_host.usual_reading import UsualReading
from firmware_host.wire import WireParser, encode_reading
from firmware_host.wire_grammar import READING

CHANNELS = ("a.uva_counts", "temperature_c")
MANY = 50  # more than enough to learn from
USUAL = b"bk1 r shelf-2 4f1c09ab 5 1234 a.uva_counts=12 temperature_c=-25.5"


def reading(seq: int, board: str = "shelf-2", boot: str = "4f1c09ab") -> Reading:
    return Reading(board, boot, seq, 1000 + seq, CHANNELS, (12.0, -25.5), 0, False)


def framed(body: bytes, end: bytes = b"\n") -> bytes:
    return body + b" ~%04X" % crc_hqx(body, 0xFFFF) + end


def learned(*boards: str) -> WireParser:
    parser = WireParser()
    for board in boards:
        said = [reading(seq, board) for seq in range(MANY)]
        assert parser.feed(b"".join(map(encode_reading, said))) == said
    return parser


@st.composite
def lines(draw: st.DrawFn) -> bytes:
    """Draw lines that are the usual one, or nearly, most with a CRC that is right."""
    body = bytearray(USUAL)
    for at in draw(st.lists(st.integers(0, len(body) - 1), max_size=3)):
        body[at : at + draw(st.integers(0, 1))] = draw(
            st.sampled_from(
                [b"", b"0", b"7", b"123456789012", b".", b".5", b"-", b" ", b"=", b"x", b"p", b"!"]
            )
        )
    body += draw(
        st.sampled_from([b"", b"", b" !saturated", b" !nonsense", b" uvb_counts=1", b" temperature_c=1"])
    )
    end = draw(st.sampled_from([b"\n", b"\r\n", b"\r\r\n", b"\r\r\r\n", b" \n"]))
    line = framed(bytes(body), end)
    return line.replace(b"~", b"~0", 1) if draw(st.integers(0, 9)) == 0 else line


@given(st.lists(lines(), max_size=6))
def test_a_parser_that_knows_the_usual_line_understands_the_same(some: list[bytes]) -> None:
    parser = learned("shelf-2")
    counts_before = parser.counts.lines
    understood = 0
    for line in some:
        fresh = WireParser()
        assert parser.feed(line) == fresh.feed(line)
        understood += fresh.counts.lines
    assert parser.counts.lines - counts_before == understood


def test_no_single_wrong_bit_gets_through_as_the_usual_line() -> None:
    line = framed(USUAL)
    parser = learned("shelf-2")
    for bit in range(8 * (len(line) - 1)):
        wrong = bytearray(line)
        wrong[bit // 8] ^= 1 << bit % 8
        assert parser.feed(bytes(wrong)) == WireParser().feed(bytes(wrong))


def test_several_boards_of_one_link_are_all_understood() -> None:
    parser = learned("shelf-2", "shelf-3", "shelf-2")
    said = [reading(seq, board) for seq in range(MANY) for board in ("shelf-2", "shelf-3")]
    assert parser.feed(b"".join(map(encode_reading, said))) == said


def test_a_board_that_starts_again_is_learned_anew() -> None:
    parser = learned("shelf-2")
    said = [reading(seq, boot="00000001") for seq in range(MANY)]
    assert parser.feed(b"".join(map(encode_reading, said))) == said


@pytest.mark.parametrize("marks", [0, 1])
def test_only_lines_without_marks_become_usual(marks: int) -> None:
    usual = UsualReading()
    for _ in range(MANY):
        usual.note(b"shelf-2 4f1c09ab", (b"uva_counts",), reading(1)._replace(marks=marks))
    assert (usual.expression is None) == bool(marks)


def test_the_usual_line_is_one_that_the_grammar_knows() -> None:
    usual = UsualReading()
    for _ in range(MANY):
        usual.note(b"shelf-2 4f1c09ab", (b"a.uva_counts", b"temperature_c"), reading(1))
    assert usual.expression is not None
    line = framed(USUAL, b"")
    assert usual.expression.fullmatch(line)
    assert READING.fullmatch(line)
    assert not usual.expression.fullmatch(line.replace(b"a.uva", b"aauva"))
