"""The overview in a real browser: live, on every width, by day and night, with nothing from elsewhere."""

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from exposure.events import EventKind
from tests.baskline.page.conftest import PASSWORD
from tests.baskline.page.rooms import PageRoom

WIDTHS = (360, 768, 1280)


def test_values_events_and_the_sentence_change_while_one_looks(room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(room).url).page
    ledge = page.locator("#spot-ledge")
    expect(ledge).to_contain_text("2.00 ±")
    expect(ledge).to_contain_text("in its band")
    room.levels.update(ledge=3.4, fern=1.8)
    room.pass_s(10)
    room.happen(EventKind.OVER_CEILING, "ledge", "3.4 ± 0.1 over the ceiling 3.0 (k = 2)")
    expect(ledge).to_contain_text("3.40 ±")
    expect(ledge).to_contain_text("over its ceiling")
    expect(page.get_by_role("status")).to_have_text("1 spot needs you now: Slate ledge")
    expect(page.locator(".glance")).to_have_class("glance is-now")
    expect(page.locator(".glance")).to_contain_text("Before you reach in")
    expect(page).to_have_title("1 spot needs you now: Slate ledge · test / room")


def test_when_nobody_watches_any_more_it_says_so(room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(room).url).page
    expect(page.get_by_role("status")).to_have_text("1 spot needs you now: Fern crown")
    room.stop_watching()
    room.clock.wait_s(1_200)
    expect(page.get_by_role("status")).to_have_text("Nobody is watching")
    expect(page.locator("#spot-ledge")).to_contain_text("Not known")
    expect(page.locator("#spot-ledge")).to_contain_text("Last known: 2.00 ± 0.02 UVI at 14:02")


def test_a_page_that_hears_nothing_more_says_so(room: PageRoom, serve, browser) -> None:
    running = serve(room)
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(running.url)
        expect(page.locator("[data-lost]")).to_be_hidden()
        running.stop()
        expect(page.get_by_role("alert")).to_have_text("No word from the bridge. What stands here is old.")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_and_is_accessible(room: PageRoom, serve, open_page, pictures: Path, width, scheme) -> None:
    room.happen(EventKind.OVER_CEILING, "fern", "3.6 ± 0.2 over the ceiling 3.0 (k = 2)")
    room.happen(EventKind.UNDER_BAND, "moss", "0.4 ± 0.1 under the band 1.0 to 2.6 (k = 2)")
    page = open_page(serve(room).url, width=width, scheme=scheme).page
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.screenshot(path=pictures / f"now-{width}-{scheme}.png", full_page=True)


def test_night_and_day_differ(room: PageRoom, serve, open_page) -> None:
    url = serve(room).url
    paper = "getComputedStyle(document.body).backgroundColor"
    by_day = open_page(url, scheme="light").page.evaluate(paper)
    assert open_page(url, scheme="dark").page.evaluate(paper) != by_day


def test_the_keyboard_reaches_the_content_and_each_spot(room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(room).url).page
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()
    page.keyboard.press("Tab")
    first = page.locator(".marks a").first
    expect(first).to_be_focused()
    assert first.evaluate("spot => getComputedStyle(spot).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    assert page.url.endswith("#spot-ledge")


def test_without_scripts_all_of_it_is_there(room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(room).url, script=False).page
    expect(page.get_by_role("status")).to_have_text("1 spot needs you now: Fern crown")
    assert page.get_by_role("img").count() == 5


def test_the_keeper_signs_in_and_out(locked_room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(locked_room).url).page
    assert page.url.endswith("/login")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.get_by_label("Password of this page").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_have_text("1 spot needs you now: Fern crown")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    page.goto(page.url.replace("/login", "/"))
    assert page.url.endswith("/login")


def test_spots_stand_side_by_side_over_the_whole_width(room: PageRoom, serve, open_page) -> None:
    page = open_page(serve(room).url, width=1100).page
    cards = page.locator("article.spot").evaluate_all(
        "cards => cards.map(card => card.getBoundingClientRect()).map(box => [box.top, box.left, box.right])"
    )
    rows = {round(top): [box[1:] for box in cards if round(box[0]) == round(top)] for top, _, _ in cards}
    assert len(rows) < len(cards)
    for row in rows.values():
        assert min(left for left, _ in row) < 20
        assert max(right for _, right in row) > 1100 - 40


def test_it_weighs_little(room: PageRoom, serve, open_page) -> None:
    watched = open_page(serve(room).url)
    weight = watched.page.evaluate(
        "[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]"
        ".filter(entry => !entry.name.endsWith('/live'))"
        ".reduce((sum, entry) => sum + entry.encodedBodySize, 0)"
    )
    assert weight < 40_000
