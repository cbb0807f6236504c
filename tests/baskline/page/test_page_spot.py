"""A spot's page: its day among its neighbours, its charts, and their numbers."""

import re

from playwright.sync_api import expect

from tests.baskline.page.conftest import GUEST, PASSWORD
from tests.baskline.page.looking import wait_for_charts
from tests.baskline.page.rooms import PageRoom, PastRoom, RunningPage


def test_the_days_can_be_paged_through_and_end_with_the_data(past_page: RunningPage, open_page) -> None:
    page = open_page(f"{past_page.url}/spots/slate").page
    title = page.locator("#day-title")
    expect(title).to_have_text("Saturday 17 May 2025")
    expect(page.get_by_role("link", name="Day after")).to_have_count(0)
    page.get_by_role("link", name="Day before").click()
    expect(title).to_have_text("Friday 16 May 2025")
    assert wait_for_charts(page) == 3
    page.get_by_label("Day", exact=True).fill("2025-04-22")
    page.get_by_role("button", name="Show").click()
    expect(title).to_have_text("Tuesday 22 April 2025")
    page.get_by_role("link", name="Day after").click()
    expect(title).to_have_text("Wednesday 23 April 2025")
    page.get_by_label("Day", exact=True).fill("2025-03-22")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_role("link", name="Day before")).to_have_count(0)


def test_a_day_that_is_not_there_shows_the_nearest_and_says_so(past_room: PastRoom, visit) -> None:
    visitor = visit(past_room)
    late = visitor.get("/spots/slate?day=2025-06-01")
    assert "There is nothing after Saturday 17 May 2025 yet." in late.text
    assert 'value="2025-05-17"' in late.text
    early = visitor.get("/spots/slate?day=1999-01-01")
    assert "There is nothing before Saturday 22 March 2025." in early.text
    nonsense = visitor.get("/spots/slate?day=soon")
    assert nonsense.status_code == 422
    assert "&#39;soon&#39; is no day" in nonsense.text


def test_a_spot_that_is_not_there_is_said_to_be(past_room: PastRoom, visit) -> None:
    answer = visit(past_room).get("/spots/slat")
    assert answer.status_code == 404
    assert "There is no spot &#39;slat&#39;" in answer.text
    assert "slate" in answer.text


def test_the_charts_say_what_they_show_and_are_as_wide_as_their_place(
    past_page: RunningPage, open_page
) -> None:
    page = open_page(f"{past_page.url}/spots/slate", width=360).page
    wait_for_charts(page)
    chart = page.locator("[data-chart]").first
    expect(chart.get_by_role("img")).to_have_attribute(
        "aria-label", _starting("Slate ledge, Saturday 17 May")
    )
    narrow = chart.locator("canvas").bounding_box()
    page.set_viewport_size({"width": 900, "height": 800})
    expect(chart).not_to_have_attribute("data-drawn", _starting("296"))
    wide = chart.locator("canvas").bounding_box()
    assert narrow["width"] < 340
    assert 700 < wide["width"] <= chart.evaluate("place => place.clientWidth")


def test_at_night_the_charts_are_dark_too(past_page: RunningPage, open_page) -> None:
    page = open_page(f"{past_page.url}/spots/slate").page
    wait_for_charts(page)
    corner = "canvas => [...canvas.getContext('2d').getImageData(2, 2, 1, 1).data].slice(0, 3)"
    canvas = page.locator("[data-chart] canvas").first
    assert min(canvas.evaluate(corner)) > 200
    page.emulate_media(color_scheme="dark")
    expect(page.locator("[data-chart]").first).to_have_attribute("data-drawn", _ending("true"))
    assert max(canvas.evaluate(corner)) < 60


def test_where_nothing_can_be_drawn_it_says_so_and_the_numbers_are_there(
    past_page: RunningPage, browser
) -> None:
    with browser.new_context() as context:
        page = context.new_page()
        page.route("**/charts/code.js*", lambda route: route.fulfill(status=503, body="no room on the disk"))
        page.goto(f"{past_page.url}/spots/slate")
        expect(page.locator("[data-chart]").first).to_contain_text("No chart: no room on the disk")
        page.get_by_text("The day hour by hour").click()
        expect(page.locator("table").first).to_contain_text("12:00")


def test_what_holds_now_changes_while_one_looks(room: PageRoom, serve, open_page) -> None:
    page = open_page(f"{serve(room).url}/spots/ledge").page
    now = page.locator(".now")
    expect(now).to_contain_text("2.00 ±")
    room.levels["ledge"] = 3.4
    room.pass_s(10)
    expect(now).to_contain_text("3.40 ±")
    expect(now).to_contain_text("over its ceiling")
    expect(page).to_have_title("Slate ledge · test / room")


def test_a_spot_without_any_reading_is_shown(room: PageRoom, visit, tmp_path_factory) -> None:
    fresh = PageRoom(tmp_path_factory.mktemp("fresh"))
    fresh.watch()
    answer = visit(fresh).get("/spots/ledge")
    fresh.stop_watching()
    assert answer.status_code == 200
    assert "Nothing has been read at this spot yet." in answer.text


def test_guests_see_the_spot_and_neither_checks_nor_downloads(locked_room: PageRoom, visit) -> None:
    guest, keeper = visit(locked_room), visit(locked_room)
    guest.get(f"/guest/{GUEST}")
    keeper.sign_in(PASSWORD)
    seen = guest.get("/spots/ledge")
    assert seen.status_code == 200
    assert "/checks" not in seen.text
    assert "/downloads" not in seen.text
    assert guest.get("/charts/day/ledge").status_code == 200
    for path in ("/charts/checks/ledge", "/checks", "/boards", "/downloads", "/downloads/day.csv?spot=ledge"):
        assert guest.get(path).status_code == 403, path
    assert "/checks/ledge" in keeper.get("/spots/ledge").text


def test_an_enclosure_says_whether_it_has_a_retreat(past_page: RunningPage, open_page) -> None:
    page = open_page(f"{past_page.url}/enclosures/rock_garden").page
    expect(page.locator("#day")).to_contain_text("Crevice is a retreat.")
    wait_for_charts(page)
    page.get_by_role("link", name="Day before").click()
    expect(page.locator("#day-title")).to_contain_text("Friday 16 May 2025")


def _starting(words: str) -> re.Pattern[str]:
    return re.compile(f"^{re.escape(words)}")


def _ending(words: str) -> re.Pattern[str]:
    return re.compile(f"{re.escape(words)}$")
