"""What changes, sent as it changes (server-sent events)."""

import json
from collections.abc import AsyncIterator
from functools import partial
from typing import Any, Final

from fastapi import APIRouter
from sse_starlette.sse import EventSourceResponse
from starlette.requests import Request

from baskline.api.access import TheDesk
from baskline.api.room import spot_now
from baskline.page.desk import Desk
from baskline.page.sessions import Access
from baskline.page.stream import Ending, pause, streamed
from calibrate.errors import KeeperError
from ingest.mqtt.payloads import event_fields

router = APIRouter(tags=["room"])

_EVERY_S: Final = 1.0
# Each holds a connection and a task.
_MOST_LISTENERS: Final = 20

_EXAMPLE: Final = (
    'event: spot\ndata: {"spot": "slate", "uvi": 3.14, "u_uvi": 0.15, ...}\n\n'
    'event: happening\ndata: {"identity": "over_ceiling.fern.1747480920008", ...}\n\n'
    'event: bridge\ndata: {"watched": true}\n\n'
)


@router.get(
    "/live",
    summary="What changes, as it changes",
    response_class=EventSourceResponse,
    responses={
        200: {
            "description": "A stream of events; it goes on until you leave.",
            "content": {"text/event-stream": {"schema": {"type": "string"}, "example": _EXAMPLE}},
        }
    },
)
async def live(request: Request, desk: TheDesk) -> EventSourceResponse:
    """Send what there is and then what changes, about once a second.

    Events by name: `spot`, a spot as `/spots/{spot}` has it; `happening`, an event as `/events` has it, when
    it opens, changes or closes; `bridge`, `watched` as `/bridge` has it; `trouble`, what keeps the store from
    being read, until a `bridge` comes. Comments keep the connection alive. At the start all spots, all open
    events and the bridge come, so that whoever was away needs no more.
    """
    state = request.app.state
    if state.n_listeners >= _MOST_LISTENERS:
        raise KeeperError("too many listen already", remedy="End other connections to /live")
    return streamed(partial(_changes, request, desk))


def _may_listen(request: Request) -> bool:
    """Return whether the listener still may: a token may until it ends, a browser until it signs out."""
    state = request.state
    gate = getattr(state, "gate", None)
    return gate is None or state.by_token or gate.access(state.identity) is Access.KEEPER


async def _changes(request: Request, desk: Desk, ending: Ending) -> AsyncIterator[dict[str, str]]:
    state: Any = request.app.state
    state.n_listeners += 1
    told: dict[tuple[str, str], str] = {}
    try:
        while _may_listen(request):
            try:
                news = await _news(desk, told)
            except KeeperError as error:
                news = {("trouble", ""): json.dumps({"what": error.what, "remedy": error.remedy or None})}
            for (name, subject), data in news.items():
                if told.get((name, subject)) != data:
                    yield {"event": name, "data": data}
            told |= news
            if not await pause(ending, _EVERY_S):
                return
    finally:
        state.n_listeners -= 1


async def _news(desk: Desk, told: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    """Return all that is the case now, by what it is of; an event that was open is told once more, closed."""
    room = await desk.room()
    if told.pop(("trouble", ""), None) is not None:
        told.pop(("bridge", ""), None)  # so that its end is heard
    open_now = {event.identity: event for event in room.events}
    gone = [name for what, name in told if what == "happening" and name not in open_now]
    closed = await desk.read(lambda store: [store.events.get(name) for name in gone]) if gone else []
    for name in gone:
        del told["happening", name]
    news = {("bridge", ""): json.dumps({"watched": room.watched})}
    for seen in room.spots:
        news["spot", seen.state.spot] = spot_now(desk.config, seen).model_dump_json()
    for event in [*open_now.values(), *(each for each in closed if each is not None)]:
        news["happening", event.identity] = json.dumps(event_fields(event), ensure_ascii=False)
    return news
