"""What changes while a page is open: pieces of it, sent as they change."""

import json
from collections.abc import AsyncIterator
from functools import partial
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.page.overview import live_pieces
from baskline.page.pages import Page
from baskline.page.rendering import refusal
from baskline.page.sessions import Access
from baskline.page.stream import Ending, pause, streamed
from calibrate.errors import KeeperError

_EVERY_S: Final = 1.0
# Something comes at least so often: a browser that hears nothing says that the bridge is gone.
_SILENT_AT_MOST_S: Final = 10.0
# Each holds a connection and a task; a house has some phones and tablets.
_MOST_LISTENERS: Final = 40


async def live(request: Request) -> Response:
    """Send the pieces of the overview that have changed, for as long as somebody looks."""
    state = request.app.state
    if getattr(state, "n_listeners", 0) >= _MOST_LISTENERS:
        return refusal(request, 503, "Too many pages are open", "Close some of them.")
    return streamed(partial(_pieces, request))


async def _pieces(request: Request, ending: Ending) -> AsyncIterator[dict[str, str]]:
    state = request.app.state
    state.n_listeners = getattr(state, "n_listeners", 0) + 1
    told: dict[str, str] = {}
    silent_s = 0.0
    try:
        while request.state.gate.access(request.state.identity) is not Access.NOBODY:
            try:
                pieces = await live_pieces(request)
            except KeeperError as error:
                pieces = {"trouble": f"{error.what}. {error.remedy}"}
            changed = {key: piece for key, piece in pieces.items() if told.get(key) != piece}
            if changed or silent_s >= _SILENT_AT_MOST_S:
                yield {"event": "pieces", "data": json.dumps(changed, ensure_ascii=False)}
                told |= changed
                silent_s = 0.0
            if not await pause(ending, _EVERY_S):
                return
            silent_s += _EVERY_S
    finally:
        state.n_listeners -= 1


PAGE = Page(routes=(Route("/live", live, methods=["GET"]),), guest_paths=("/live",))
