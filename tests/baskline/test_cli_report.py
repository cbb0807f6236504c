"""`baskline report` as it is typed."""

from datetime import date

import pytest

from tests.baskline.making import room, said_here
from tests.baskline.many_days import fill_days


@pytest.fixture
def home(tmp_path):
    fill_days(room(tmp_path), date(2025, 3, 28), 8, lambda number: 2.0)
    return tmp_path


def test_without_options_it_is_the_month_of_the_newest_reading(home):
    said = said_here("report", folder=home)
    assert (said.code, said.err) == (0, "")
    assert said.out == "Written: uv-report-2025-04.html, up to 2025-04-04\n"
    assert "<title>UV report, April 2025" in (home / "uv-report-2025-04.html").read_text()


def test_a_month_and_a_file_can_be_named(home):
    said = said_here("report", "--month", "2025-03", "-o", "march.pdf", folder=home)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Written: march.pdf, ")
    assert said.out.endswith(" pages\n")
    assert (home / "march.pdf").read_bytes().startswith(b"%PDF-")


def test_one_enclosure_can_be_chosen(home):
    said = said_here("report", "--enclosure", "garden", "-o", "garden.html", folder=home)
    assert (said.code, said.err) == (0, "")


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        (["--month", "2025-05"], 1, "there are no readings of May 2025. The newest are of 2025-04-04"),
        (["--month", "2025-02"], 1, "there are no readings of February 2025"),
        (["--month", "May"], 2, "write it as 2025-05"),
        (["--month", "2025-13"], 2, "write it as 2025-05"),
        (["--month", "0001-01"], 2, "no readings can be from 1"),
        (["-o", "report.doc"], 2, "end the name with .html or .pdf"),
        (["-o", "report"], 2, "a file without an ending"),
        (["-o", "nowhere/report.html"], 1, "cannot be written"),
        (["--enclosure", "gardn"], 1, "Did you mean 'garden'?"),
        (["--store", "other.db"], 1, "there is no store yet"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_cannot_be_done_is_one_line_and_leaves_nothing(home, words, code, named):
    said = said_here("report", *words, folder=home)
    assert (said.code, said.out) == (code, "")
    assert named in said.err
    assert said.err.count("\n") == 1
    assert [file.name for file in home.iterdir() if file.suffix in (".html", ".pdf", ".partial")] == []
