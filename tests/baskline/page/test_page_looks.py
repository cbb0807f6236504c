"""Each page at every width, by day and by night: nothing overflows, and everybody can use it."""

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.baskline.page.looking import wait_for_charts
from tests.baskline.page.rooms import RunningPage

PAGES = {
    "spot": "/spots/slate",
    "spot-unknown": "/spots/hay_rick",
    "enclosure": "/enclosures/rock_garden",
    "events": "/events",
    "lamps": "/lamps",
    "checks": "/checks",
    "checks-of-spot": "/checks/slate",
    "boards": "/boards",
    "downloads": "/downloads",
}
_SMALLEST_PX = 44


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
@pytest.mark.parametrize("name", PAGES)
def test_it_fits_is_accessible_and_can_be_hit(
    past_page: RunningPage, open_page, pictures: Path, name, width, scheme
) -> None:
    page = open_page(past_page.url + PAGES[name], width=width, scheme=scheme).page
    wait_for_charts(page)
    page.screenshot(path=pictures / f"{name}-{width}-{scheme}.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    targets = page.locator(
        "main button, main a.button, main input:not([type=hidden]), main select, main summary"
    )
    for target in targets.all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= _SMALLEST_PX
    page.set_viewport_size({"width": 768, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") <= 768


@pytest.mark.parametrize("name", PAGES)
def test_without_scripts_it_is_whole(past_page: RunningPage, open_page, name) -> None:
    page = open_page(past_page.url + PAGES[name], script=False).page
    assert page.locator("h1").count() == 1
    # Where a chart is missing, its numbers are there in words.
    for section in page.locator("section:has([data-chart])").all():
        assert section.locator("table, dl, ul").count() > 0
