"""The page on a room whose clock is in our hands: without a server, with one, and in a browser."""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect, sync_playwright
from starlette.applications import Starlette

from baskline.charts.bundle import bundle_beside, bundle_path
from baskline.page.secret_files import PasswordHash, TokenHash, write_secret
from tests.baskline.making import made_once
from tests.baskline.page.looking import Watched
from tests.baskline.page.rooms import PageRoom, PastRoom, RunningPage, Visitor

PASSWORD = "a long enough word"
GUEST = "a-guests-token"
PROGRAM = "a-programs-token"

# How long a page takes says how busy the machine is.
expect.set_options(timeout=30_000)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[PageRoom]:
    """Five spots, watched for two minutes: in its band, over its ceiling, under it, dark, unknown."""
    made = PageRoom(tmp_path)
    made.watch()
    made.pass_s(120)
    yield made
    if made._opened is not None:
        made.stop_watching()


@pytest.fixture(scope="session")
def secrets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a password's, a guest's and a program's file."""
    folder = tmp_path_factory.mktemp("secrets")
    n, r, p, salt = 2**4, 8, 1, b"salt"  # a hash that costs nothing: tests sign in often
    digest = hashlib.scrypt(PASSWORD.encode(), salt=salt, n=n, r=r, p=p, dklen=32)
    write_secret(folder / "password", PasswordHash(n, r, p, salt, digest))
    write_secret(folder / "guest", TokenHash.of(GUEST))
    write_secret(folder / "token", TokenHash.of(PROGRAM))
    return folder


@pytest.fixture
def locked_room(room: PageRoom, secrets: Path) -> PageRoom:
    """The same room, behind a password."""
    lines = (f'{name}_file = "{secrets / name}"' for name in ("password", "guest", "token"))
    room.config_file.write_text("\n".join([room.config_file.read_text(), "[page]", *lines, ""]))
    return room


@pytest.fixture
def visit() -> Iterator[Callable[..., Visitor]]:
    """Visit a room's page without a server: `visit(room)`."""
    opened: list[Visitor] = []

    def start(
        room: PageRoom, *, may_change: bool = True, app: Starlette | None = None, **options: str
    ) -> Visitor:
        visitor = Visitor(app or room.app(may_change=may_change), **options)
        if app is None:
            visitor.__enter__()
            opened.append(visitor)
        return visitor

    yield start
    for visitor in opened:
        visitor.__exit__(None, None, None)


@pytest.fixture(scope="session")
def chart_code(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The code that draws, made once: a page would take a while to make it beside each room's store."""
    made = made_once(tmp_path_factory, "chart-code", lambda folder: bundle_beside(folder / "baskline.db"))
    return bundle_path(made / "baskline.db")


def lend(chart_code: Path, room: PageRoom | PastRoom) -> None:
    """Put the code where the room's page looks for it."""
    shutil.copy(chart_code, bundle_path(room.config.bridge.store))


@pytest.fixture
def serve(chart_code: Path) -> Iterator[Callable[..., RunningPage]]:
    """Serve a room's page on a real port: `serve(room).url`."""
    started: list[RunningPage] = []

    def start(room: PageRoom, *, may_change: bool = True) -> RunningPage:
        lend(chart_code, room)
        page = RunningPage(room, may_change=may_change)
        page.__enter__()
        started.append(page)
        return page

    yield start
    for page in started:
        page.__exit__(None, None, None)


_MISSING = "chromium is not installed: apt-get install chromium"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests of a module."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(_MISSING)
        pytest.skip(_MISSING)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Watched]]:
    """Open an address in a browser of its own; nothing may have gone wrong in it by the end of the test."""
    opened: list[tuple[BrowserContext, Watched, str]] = []

    def start(url: str, *, width: int = 1280, scheme: str = "light", script: bool = True) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": 800},
            color_scheme=scheme,
            java_script_enabled=script,
            reduced_motion="reduce",
        )
        watched = Watched(context.new_page())
        opened.append((context, watched, url))
        watched.page.goto(url)
        return watched

    yield start
    for context, watched, url in opened:
        context.close()
        assert watched.complaints == []
        own = "/".join(url.split("/")[:3])
        assert all(asked.startswith((f"{own}/", "data:")) for asked in watched.asked)


@pytest.fixture(scope="session")
def past_room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PastRoom]:
    """Eight weeks of a room, to be looked at only."""
    made = PastRoom(tmp_path_factory.mktemp("past"))
    yield made
    made.store.close()


@pytest.fixture(scope="session")
def past_page(past_room: PastRoom, chart_code: Path) -> Iterator[RunningPage]:
    """The page of these weeks on a real port."""
    lend(chart_code, past_room)
    with RunningPage(past_room) as page:
        yield page


@pytest.fixture
def pictures(tmp_path: Path) -> Path:
    """Where screenshots go: to be looked at after the run, if somebody said where."""
    folder = Path(os.environ.get("BASKLINE_SCREENSHOTS", tmp_path))
    folder.mkdir(parents=True, exist_ok=True)
    return folder
