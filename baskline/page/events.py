"""Events: what is open, gravest first, with the buttons to answer it; what is over, page by page."""

from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.event_view import EventRow, event_rows, gravest_first
from baskline.page.forms import acting, done, fields, known
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from exposure.events import Severity
from ingest import acts
from ingest.store.events_pages import EventsWanted
from ingest.store.store import Store

_ON_A_PAGE: Final = 30
_TOLD: Final = {
    "seen": "Noted that you have seen it. It stays open until its cause is gone.",
    "closed": "Closed. It comes back only when its cause has gone and come again, or has become graver.",
}


async def events(request: Request) -> Response:
    """Show the open events of all spots or of one, and some that are over."""
    desk: Desk = request.app.state.desk
    spot = request.query_params.get("spot", "")
    if spot:
        known("spot", spot, desk.config.spots)
    before = request.query_params.get("before", "")
    now, over, older = await desk.read(lambda store: _found(store, desk, spot, before))
    return render(
        request,
        "events.html",
        spot=spot,
        spots={key: each.label for key, each in desk.config.spots.items()},
        now=now,
        over=over,
        older=older,
        newer=bool(before),
        grave=any(row.severity is not Severity.NOTE for row in now),
        told=_TOLD.get(request.query_params.get("told", ""), ""),
    )


async def seen(request: Request) -> Response:
    """Record that somebody has seen an event."""
    return await _act(request, "seen")


async def closed(request: Request) -> Response:
    """Close an event by hand."""
    return await _act(request, "closed")


async def _act(request: Request, what: str) -> Response:
    desk = acting(request)
    form = await fields(request)
    identity, spot = form.get("identity", ""), form.get("spot", "")

    def act(store: Store) -> None:
        if store.events.get(identity) is None:
            raise AskedError("there is no such event", remedy="Go back and load the page anew", status=404)
        do = acts.acknowledge if what == "seen" else acts.close
        do(store, desk.config, identity, desk.now_ms)

    await desk.write(act)
    of_spot = f"&spot={spot}" if spot in desk.config.spots else ""
    return done(f"/events?told={what}{of_spot}")


def _found(store: Store, desk: Desk, spot: str, before: str) -> tuple[list[EventRow], list[EventRow], str]:
    """Return the open events, a page of those that are over, and where the next begins ('' if nowhere)."""
    config, now_ms = desk.config, desk.now_ms
    board = config.boards[config.spots[spot].board].identity if spot else ""
    open_now = gravest_first(event for event in store.events.open() if not spot or event.is_of(spot, board))
    wanted = EventsWanted(
        subjects=(("spot", spot), ("board", board)) if spot else None, is_open=False, to_ms=now_ms + 1
    )
    over = store.events.page(wanted, _ON_A_PAGE, _place(before) if before else None, newest_first=True)
    older = "" if over.next is None else "{}.{}".format(*over.next)
    return event_rows(open_now, config, now_ms), event_rows(over.events, config, now_ms), older


def _place(text: str) -> tuple[int, str]:
    at_ms, _, identity = text.partition(".")
    if not at_ms.isdecimal() or len(at_ms) > 16:
        raise AskedError("that is no place in the list of events", remedy="Begin again at its newest page")
    return int(at_ms), identity


PAGE = Page(
    routes=(
        Route("/events", events, methods=["GET"]),
        Route("/events/seen", seen, methods=["POST"]),
        Route("/events/closed", closed, methods=["POST"]),
    ),
    nav=NavEntry("Events", "/events", for_guests=True),
    guest_paths=("/events",),
)
