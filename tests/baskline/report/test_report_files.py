"""The report as a file: HTML that stands alone, and pages of paper."""

import os
import re
import shutil
import sys
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
import weasyprint
from playwright.sync_api import sync_playwright

from baskline.report.errors import ReportError
from baskline.report.render import paper_html, report_html, report_pdf, write_report
from ingest.config import load_config
from ingest.export.whole_file import ExportError
from ingest.month import month_of
from ingest.store.store import Store
from tests.baskline.making import demo_folder, room
from tests.baskline.report.report_rooms import NEXT, at_ms, config_with, march

A4_HEIGHT_PX = 297 / 25.4 * 96


class Page(HTMLParser):
    """What a page asks for, names and says."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.identities: list[str] = []
        self.targets: list[str] = []
        self.text: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.identities.append(value)
            elif name in ("href", "src", "xlink:href", "srcset", "action"):
                self.targets.append(value)

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> tuple[object, object, int]:
    """The demo's month, its configuration, and the evening on which it is told."""
    folder = demo_folder(tmp_path_factory)
    config = load_config(folder / "baskline.toml")
    with Store.open(config.bridge.store, read_only=True) as store:
        month = month_of(store, config, date(2025, 5, 1), list(config.enclosures), lambda _: None)
    return month, config, at_ms(config, date(2025, 5, 18), 9)


@pytest.fixture(scope="module")
def html(demo) -> str:
    return report_html(*demo)


def test_the_page_needs_nothing_from_elsewhere(html):
    page = Page(html)
    assert "script" not in page.tags
    assert "link" not in page.tags
    assert {target for target in page.targets if not target.startswith("#")} == set()
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)
    assert "default-src 'none'" in html


def test_names_inside_are_unique_and_each_link_leads_somewhere(html):
    page = Page(html)
    assert len(page.identities) == len(set(page.identities))
    inner = {target[1:] for target in page.targets} | set(re.findall(r"url\(#([^)]+)\)", html))
    assert inner <= set(page.identities)


def test_every_chart_is_there_and_is_told_in_words(html):
    assert html.count("<svg") == 4 + 4 + 4  # days and checks of four calibrated spots, lamps seen from them
    described = re.findall(r'<figure role="img" aria-label="([^"]+)"', html)
    assert len(described) == html.count("<svg")
    assert all(len(words) > 40 for words in described)


def test_the_parts_are_in_the_order_in_which_a_veterinarian_reads_them(html):
    headings = re.findall(r"<h2>([^<]+)", html)
    assert [heading.strip() for heading in headings] == [
        "What was watched, and how surely",
        "Rock garden",
        "Dry meadow",
        "Green wall",
        "Lamps",
        "Checks with a hand-held meter",
        "Events",
        "What was not seen",
        "Terms",
        "Limits",
    ]
    text = " ".join(Page(html).text)
    assert text.count("not veterinary advice") == 2
    assert re.search(r"Furcifer\s+pardalis", text)


def test_what_the_keeper_wrote_is_text_and_never_markup(tmp_path):
    config = room(tmp_path)
    named = 'label = "Rock <b>garden</b>"\nspecies = "<i>x</i>"\nnotes = "a & b <script>alert(1)</script>"'
    config = config_with(tmp_path, 'label = "Rock garden"', named)
    config = config_with(tmp_path, 'label = "Slate ledge"', 'label = "Slate </svg><script>"')
    page = Page(report_html(march(config, days=3), config, at_ms(config, NEXT)))
    assert "script" not in page.tags
    assert "b" not in page.tags
    assert "a & b <script>alert(1)</script>" in "".join(page.text)


@pytest.fixture(scope="module")
def paper(demo) -> list[object]:
    """The pages as they are laid out for A4."""
    return weasyprint.HTML(string=paper_html(*demo)).render().pages


def test_no_heading_stands_alone_at_the_foot_of_a_page(paper):
    for page in paper:
        assert page.height == pytest.approx(A4_HEIGHT_PX, abs=1)
        for _, label, (_, y), *_ in page.bookmarks:
            assert y < 0.85 * page.height, f"{label} stands at the foot of a page"


def test_each_enclosure_begins_on_a_page_of_its_own(paper):
    first = {}
    for number, page in enumerate(paper):
        for level, label, (_, y), *_ in page.bookmarks:
            if level == 2:
                first[label.split()[0]] = (number, y)
    for name in ("Rock", "Dry", "Green", "Lamps"):
        assert first[name][1] < 0.15 * A4_HEIGHT_PX
    assert len({first[name][0] for name in ("What", "Rock", "Dry", "Green", "Lamps")}) == 5


def test_the_demos_month_has_a_bearable_number_of_pages(paper):
    assert 8 <= len(paper) <= 16


def test_it_opens_in_a_browser_without_a_complaint_or_a_request(html, tmp_path):
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("chromium is not installed: apt-get install chromium")
        pytest.skip("chromium is not installed: apt-get install chromium")
    file = tmp_path / "report.html"
    file.write_text(html)
    said, asked = [], []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.on("console", lambda message: said.append(message.text))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        wide = page.evaluate("document.documentElement.scrollWidth")
        browser.close()
    assert said == []
    assert asked == [file.as_uri()]
    assert wide <= 360


def test_without_pango_the_packages_are_named(demo, monkeypatch):
    class Absent:
        def find_spec(self, name, path=None, target=None):
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0'")

    monkeypatch.delitem(sys.modules, "weasyprint")
    monkeypatch.setattr(sys, "meta_path", [Absent(), *sys.meta_path])
    with pytest.raises(ReportError, match=r"libpango-1\.0-0 libpangoft2-1\.0-0 libharfbuzz-subset0"):
        report_pdf(*demo)


@pytest.mark.parametrize("package", ["jinja2", "vl_convert", "weasyprint"])
def test_without_a_package_the_line_to_type_is_named(demo, monkeypatch, package):
    monkeypatch.setitem(sys.modules, package, None)
    for name in [
        each for each in sys.modules if each.startswith(("baskline.charts", "baskline.report.figures"))
    ]:
        monkeypatch.delitem(sys.modules, name)
    with pytest.raises(ReportError, match=re.escape("pip install 'baskline[charts,report]'")):
        report_pdf(*demo)


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    write_report(tmp_path / "r.html", b"one")
    write_report(tmp_path / "r.html", b"two")
    assert (tmp_path / "r.html").read_bytes() == b"two"
    assert [file.name for file in tmp_path.iterdir()] == ["r.html"]
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(ExportError, match="this is a folder"):
        write_report(tmp_path / "folder.html", b"three")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["folder.html", "r.html"]


def test_a_small_month_makes_a_small_report(tmp_path: Path):
    config = room(tmp_path, calibrated=False)
    content, pages = report_pdf(march(config, days=2), config, at_ms(config, date(2025, 3, 3)))
    assert content.startswith(b"%PDF-")
    assert 2 <= pages <= 5
