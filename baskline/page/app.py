"""The application: its pages, its guard, and how it says what went wrong."""

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from http import HTTPStatus
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from baskline.api.mounted import Interface
from baskline.children import ChildEndedError
from baskline.page import (
    boards,
    charts,
    checks,
    downloads,
    enclosure,
    events,
    lamps,
    live,
    login,
    overview,
    spot,
)
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.gate import Gate
from baskline.page.guard import Guard, SafeHeaders, make_safe
from baskline.page.pages import Page
from baskline.page.rendering import STATIC, compile_templates, refusal
from baskline.page.workshop import Workshop
from calibrate.errors import KeeperError

log = logging.getLogger("baskline.page")

# In the order of the navigation.
PAGES: Final[tuple[Page, ...]] = (
    overview.PAGE,
    spot.PAGE,
    enclosure.PAGE,
    events.PAGE,
    lamps.PAGE,
    checks.PAGE,
    boards.PAGE,
    downloads.PAGE,
    charts.PAGE,
    live.PAGE,
    login.PAGE,
)


def create_app(desk: Desk, gate: Gate, pages: tuple[Page, ...] = PAGES) -> Starlette:
    """Return the application: `pages` on the store of `desk`, behind `gate`."""

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        compile_templates()  # now, and not while the first keeper waits
        with suppress(KeeperError):  # who asks will be told
            await desk.room()
        yield
        desk.close()

    guest_paths = [path for page in pages for path in page.guest_paths]
    app = Starlette(
        routes=[
            *(route for page in pages for route in page.routes),
            Mount("/static", _Static(directory=STATIC)),
            Mount("/api/v1", Interface(desk)),
        ],
        middleware=[Middleware(SafeHeaders), Middleware(Guard, gate=gate, guest_paths=guest_paths)],
        exception_handlers={
            HTTPException: _http_error,
            AskedError: _asked_error,
            KeeperError: _keeper_error,
            Exception: _fault,
        },
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.state.workshop = Workshop(desk.clock)
    app.state.nav = [page.nav for page in pages if page.nav is not None]
    return app


class _Static(StaticFiles):
    """Files whose addresses change with their content: a browser may keep them."""

    def file_response(self, *args: object, **options: object) -> Response:
        response = super().file_response(*args, **options)  # type: ignore[arg-type]
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response


_WORDS: Final = {
    404: ("There is nothing here", "Go back to the room, or check the address."),
    405: ("That cannot be done here", "Go back and use the page's own buttons."),
}


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    usual = (HTTPStatus(error.status_code).phrase, "Go back to the room.")
    what, remedy = _WORDS.get(error.status_code, usual)
    return refusal(request, error.status_code, what, remedy)


async def _asked_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, AskedError)
    what = f"{error.what[:1].upper()}{error.what[1:]}"
    return refusal(request, error.status, what, _sentence(error.remedy))


async def _keeper_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, KeeperError)
    if not isinstance(error, ChildEndedError):
        log.warning(error.what, extra={"where": error.where, "do": error.remedy, "path": request.url.path})
    return refusal(request, 503, _sentence(error.what), _sentence(error.remedy))


async def _fault(request: Request, _error: Exception) -> Response:
    """Say that it is ours; the traceback goes to the log, with what the server logs of it."""
    remedy = "The bridge goes on watching. Please report it, with the log."
    answer = refusal(request, 500, "This is a fault in baskline", remedy)
    make_safe(answer.headers)  # for this answer alone is made outside of all middleware
    return answer


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if not words or words.endswith(('.', '?')) else '.'}"
