"""A watched room behind a password, and the ways into it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from baskline.page.secret_files import PasswordHash, TokenHash, write_secret
from exposure.events import EventKind
from tests.baskline.page.rooms import PageRoom, RunningPage, Visitor

PASSWORD = "a long enough word"
TOKEN = "a-programs-token"


@pytest.fixture(scope="session")
def page_table(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The `[page]` table of a page with a password, a guest's link and a program's token."""
    folder = tmp_path_factory.mktemp("api-secrets")
    write_secret(folder / "password", PasswordHash.of(PASSWORD))
    write_secret(folder / "guest", TokenHash.of("a-guests-token"))
    write_secret(folder / "token", TokenHash.of(TOKEN))
    return "\n[page]\n" + "".join(
        f'{name}_file = "{folder / name}"\n' for name in ("password", "guest", "token")
    )


@pytest.fixture
def room(tmp_path: Path, page_table: str) -> Iterator[PageRoom]:
    """Five spots watched for two minutes, one of them over its ceiling and told so."""
    made = PageRoom(tmp_path, page=page_table)
    made.watch()
    made.pass_s(120)
    made.happen(EventKind.OVER_CEILING, "fern", "above the ceiling, 3.6 ± 0.1 over 3 (k = 2)")
    yield made
    made.stop_watching()


@pytest.fixture
def visit() -> Iterator[Callable[..., Visitor]]:
    """Come with some headers: `visit(room, headers={...})`."""
    opened: list[Visitor] = []

    def start(room: PageRoom, *, may_change: bool = True, **options: object) -> Visitor:
        visitor = Visitor(room.app(may_change=may_change), **options)
        visitor.__enter__()
        opened.append(visitor)
        return visitor

    yield start
    for visitor in opened:
        visitor.__exit__(None, None, None)


@pytest.fixture
def program(room: PageRoom, visit: Callable[..., Visitor]) -> Visitor:
    """A program with the token."""
    return visit(room, headers={"Authorization": f"Bearer {TOKEN}"})


@pytest.fixture
def served(room: PageRoom) -> Iterator[RunningPage]:
    """The room's page on a real port."""
    with RunningPage(room) as page:
        yield page
