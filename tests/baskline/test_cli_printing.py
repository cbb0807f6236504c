"""Words on a terminal and in a pipe."""

import io

from hypothesis import given
from hypothesis import strategies as st

from baskline.printing import console, folded, program, say

LONG = "16:18  NOTE   fern: back in the band, 2.2 ± 0.2 in 1.1 to 2.5 (k = 2), after 2.9 h above the ceiling"


def test_the_program_is_named_by_where_it_lies_if_its_name_alone_would_not_be_found(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("sys.argv", [".venv/bin/baskline", "demo"])
    assert program() == ".venv/bin/baskline"
    (tmp_path / "baskline").touch(0o755)
    assert program() == "baskline"


def test_a_long_line_is_folded_under_its_words():
    assert folded(LONG, 80, hang=14) == (
        "16:18  NOTE   fern: back in the band, 2.2 ± 0.2 in 1.1 to 2.5 (k = 2), after\n"
        "              2.9 h above the ceiling"
    )


@given(st.integers(24, 120))
def test_no_number_is_torn_from_its_unit(width):
    text = "peak 2.9 ± 0.3 UVI, dose 26.4 ± 3.1 UVI·h, 97 % of the day, 8.3 h, (k = 2), under 50 s"
    lines = folded(text, width, hang=2).splitlines()
    assert all(len(line) <= width for line in lines)
    rejoined = " ".join(line.strip() for line in lines)
    assert rejoined == text
    for whole in ("2.9 ± 0.3 UVI", "26.4 ± 3.1 UVI·h", "97 %", "8.3 h", "(k = 2)", "50 s"):
        assert any(whole in line for line in lines)


def test_lines_and_blank_lines_stay_apart():
    assert folded("one\n\ntwo three\n", 8, hang=1) == "one\n\ntwo\n three\n"


@given(st.text("ab ±=k2 %h", max_size=80), st.integers(8, 60))
def test_folding_changes_nothing_but_white_space(text, width):
    assert folded(text, width).split() == text.split()


def test_piped_lines_stay_whole_and_brackets_are_no_markup(monkeypatch):
    out = io.StringIO()
    monkeypatch.setattr("sys.stdout", out)
    say(console(), f"describe them in [board.NAME.mapping] :snake: {LONG * 3}", hang=4)
    assert out.getvalue() == f"describe them in [board.NAME.mapping] :snake: {LONG * 3}\n"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_lines_fit_its_width(monkeypatch):
    out = Terminal()
    monkeypatch.setattr("sys.stdout", out)
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("TERM", "xterm")
    say(console(), LONG, hang=14)
    lines = out.getvalue().splitlines()
    assert len(lines) == 2
    assert max(map(len, lines)) <= 60
