"""The room now: one sentence, a mark for each spot, and each spot with its value against its band."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.page.desk import Desk
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import fragment, render
from baskline.page.spot_view import SpotView, spot_view
from baskline.page.verdict import Verdict, verdict
from baskline.wording import clock_time
from ingest.config.places import EnclosureConfig


@dataclass(frozen=True, slots=True)
class RoomView:
    """All that the overview shows.  `clock`: the time of day at which it was so."""

    verdict: Verdict
    enclosures: tuple[tuple[str, EnclosureConfig, tuple[SpotView, ...]], ...]
    clock: str

    @property
    def spots(self) -> tuple[SpotView, ...]:
        """All spots in the order in which they are shown."""
        return tuple(spot for _, _, spots in self.enclosures for spot in spots)


async def room_view(desk: Desk) -> RoomView:
    """Return how the room is shown now."""
    room, config = await desk.room(), desk.config
    zone = ZoneInfo(config.bridge.time_zone)
    views = [(spot.enclosure, spot_view(room, spot, config)) for spot in room.spots]
    enclosures = tuple(
        (key, enclosure, tuple(view for where, view in views if where == key))
        for key, enclosure in config.enclosures.items()
        if any(where == key for where, _ in views)
    )
    return RoomView(
        verdict(room, [view for _, view in views], zone), enclosures, clock_time(room.at_ms, zone)
    )


async def overview(request: Request) -> Response:
    """Show the room."""
    return render(request, "overview.html", room=await room_view(request.app.state.desk))


async def live_pieces(request: Request) -> dict[str, str]:
    """Return what changes on the overview, by the names of its places."""
    room = await room_view(request.app.state.desk)
    pieces = {
        "sentence": fragment(request, "pieces/sentence.html", verdict=room.verdict),
        "details": fragment(request, "pieces/details.html", verdict=room.verdict),
        "clock": room.clock,
        "level": room.verdict.level.value,
        "trouble": "",
    }
    for spot in room.spots:
        pieces[f"mark.{spot.key}"] = fragment(request, "pieces/mark.html", spot=spot)
        pieces[f"spot.{spot.key}"] = fragment(request, "pieces/spot.html", spot=spot)
    return pieces


PAGE = Page(
    routes=(Route("/", overview, methods=["GET"]),),
    nav=NavEntry("Now", "/", for_guests=True),
    guest_paths=("/",),
)
