"""What can be taken away from the page."""

import asyncio
import csv
import io
import re
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from playwright.sync_api import expect

from baskline.charts import files
from baskline.page.workshop import MOST_PICTURES, WINDOW_S, Workshop
from firmware_host.clock import ManualClock
from tests.baskline.page.rooms import PageRoom, PastRoom, RunningPage, Visitor


@pytest.fixture(scope="module")
def visitor(past_room: PastRoom) -> Iterator[Visitor]:
    with Visitor(past_room.app()) as made:
        yield made


def test_a_day_as_csv_has_each_sample_of_it(visitor) -> None:
    answer = visitor.get("/downloads/day.csv?spot=slate&day=2025-05-16")
    assert answer.headers["content-disposition"] == 'attachment; filename="uv-slate-2025-05-16.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) > 1400
    assert {row["time_local"][:10] for row in rows} == {"2025-05-16"}
    assert max(float(row["uvi"]) for row in rows if row["uvi"]) == pytest.approx(3.4, abs=0.4)


def test_a_day_as_a_picture(visitor, pictures: Path) -> None:
    answer = visitor.get("/downloads/day.png?spot=slate&day=2025-05-16")
    assert answer.headers["content-type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG")
    (pictures / "day.png").write_bytes(answer.content)


def test_a_months_report_as_html_and_pdf(visitor) -> None:
    html = visitor.get("/downloads/report?month=2025-04&form=html&enclosure=rock_garden")
    assert html.status_code == 200, html.text
    assert html.headers["content-disposition"] == 'attachment; filename="uv-report-2025-04.html"'
    assert "UV report, April 2025" in html.text
    pdf = visitor.get("/downloads/report?month=2025-04&form=pdf&enclosure=rock_garden")
    assert pdf.content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    "what", ["readings", "samples", "minutes", "days", "events", "checks", "lamp-changes"]
)
def test_each_table_comes_as_csv(visitor, what) -> None:
    answer = visitor.get(f"/downloads/export.csv?what={what}&from=2025-04-05&to=2025-04-06")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.reader(io.StringIO(answer.text)))
    assert all(len(row) == len(rows[0]) for row in rows)
    assert len(rows) > (0 if what == "events" else 1)


def test_a_table_of_one_spot_has_only_that(visitor) -> None:
    answer = visitor.get("/downloads/export.csv?what=days&spot=slate&from=2025-04-01&to=2025-04-30")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert {row["spot"] for row in rows} == {"slate"}
    assert len(rows) == 29  # on the 14th the board was away all day


def test_a_table_of_all_spots_is_called_so_and_events_of_one_are_of_that(visitor) -> None:
    readings = visitor.get("/downloads/export.csv?what=readings&spot=slate&from=2025-05-16&to=2025-05-16")
    assert 'filename="uv-readings-2025-05-16-2025-05-16.csv"' in readings.headers["content-disposition"]
    events = visitor.get("/downloads/export.csv?what=events&spot=slate")
    assert 'filename="uv-events-slate.csv"' in events.headers["content-disposition"]
    assert {row["subject"] for row in csv.DictReader(io.StringIO(events.text))} <= {"slate"}


@pytest.mark.parametrize(
    ("path", "status", "why"),
    [
        ("/downloads/export.csv?what=secrets", 404, "There is no such table"),
        ("/downloads/export.csv?what=days&spot=../etc", 404, "There is no spot"),
        ("/downloads/export.csv?what=readings&spot=x%22%0d%0aSet-Cookie:%20a=b", 404, "There is no spot"),
        ("/downloads/export.csv?what=events&spot=%D0%96", 404, "There is no spot"),
        ("/downloads/export.csv?what=days&from=2025-05-02&to=2025-05-01", 422, "is before"),
        ("/downloads/day.csv?spot=slat", 404, "There is no spot"),
        ("/downloads/day.csv?spot=slate&day=x", 422, "is no day"),
        ("/downloads/report?month=2025-13", 422, "no month"),
        ("/downloads/report?month=9999-12", 422, "no month"),
        ("/downloads/report?month=2025-05&form=exe", 422, "A report is HTML or PDF"),
        ("/downloads/report?month=2025-05&enclosure=x", 404, "There is no enclosure"),
        ("/downloads/report?month=2020-05", 404, "No report: there are no readings of May 2020"),
    ],
)
def test_what_cannot_be_had_is_said_in_words(visitor, path, status, why) -> None:
    answer = visitor.get(path)
    assert answer.status_code == status
    assert why in answer.text


def test_only_months_with_readings_are_offered_also_where_a_report_was_refused(visitor) -> None:
    for path in ("/downloads", "/downloads/report?month=2020-05&enclosure=green_wall"):
        months = re.search(r'<select id="month".*?</select>', visitor.get(path).text, re.DOTALL)
        assert months is not None
        assert re.findall(r'value="([\d-]+)"', months[0]) == ["2025-05", "2025-04", "2025-03"]


def test_too_many_pictures_at_once_have_to_wait(room: PageRoom, visit, monkeypatch) -> None:
    monkeypatch.setattr(files, "rendered_by_child", lambda spec, ending, children: b"drawn")
    visitor = visit(room)
    for _ in range(MOST_PICTURES):
        assert visitor.get("/downloads/day.png?spot=ledge").content == b"drawn"
    refused = visitor.get("/downloads/day.png?spot=ledge")
    assert refused.status_code == 429
    assert "Try again in a minute" in refused.text
    room.clock.advance_ms(round(1000 * WINDOW_S))
    assert visitor.get("/downloads/day.png?spot=ledge").status_code == 200


def test_a_download_that_is_broken_off_lets_go_of_the_store() -> None:
    ended = threading.Semaphore(0)

    def parts() -> Iterator[bytes]:
        try:
            while True:
                yield b"part"
        finally:
            ended.release()

    async def begin_and_leave() -> None:
        shop = Workshop(ManualClock(0))
        for _ in range(5):  # more than may run at once
            walk = shop.stream(parts)
            assert await anext(walk) == b"part"
            await walk.aclose()
            assert await asyncio.to_thread(ended.acquire, timeout=5)

    with ThreadPoolExecutor(1) as beside_the_browser:
        beside_the_browser.submit(asyncio.run, begin_and_leave()).result()


def test_in_a_browser_what_was_chosen_comes(past_page: RunningPage, open_page, tmp_path: Path) -> None:
    page = open_page(f"{past_page.url}/downloads", width=360).page
    form = page.locator("section:has(#a-table)")
    form.get_by_label("Table").select_option("checks")
    form.get_by_label("Spot").select_option("slate")
    with page.expect_download() as begun:
        form.get_by_role("button", name="Download").click()
    begun.value.save_as(tmp_path / "checks.csv")
    rows = list(csv.DictReader((tmp_path / "checks.csv").read_text().splitlines()))
    assert {row["spot"] for row in rows} == {"slate"}
    with page.expect_download() as begun:
        page.locator("section:has(#a-day)").get_by_role("button", name="Samples (CSV)").click()
    assert begun.value.suggested_filename == "uv-slate-2025-05-17.csv"
    expect(page.locator("h1")).to_have_text("Downloads")
