"""Looking at a page in a browser."""

from playwright.sync_api import Page, expect


class Watched:
    """A page, and everything that it complained of or asked for."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.asked: list[str] = []
        page.on("console", lambda line: self.complaints.append(f"{line.type}: {line.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.asked.append(request.url))


def wait_for_charts(page: Page) -> int:
    """Wait until all charts of a page are drawn; return how many there are."""
    n = page.locator("[data-chart]").count()
    expect(page.locator("[data-drawn] canvas")).to_have_count(n, timeout=30_000)
    return n
