"""Who may do what, and what every answer stands on."""

import hashlib
from collections.abc import Awaitable, Callable
from typing import Annotated, Any

from fastapi import Depends
from fastapi.routing import APIRoute
from fastapi.security import HTTPBearer
from starlette.requests import Request
from starlette.responses import Response

from baskline.api.problems import NotAllowedError, NotSignedInError, NotThereError
from baskline.page.desk import Desk
from baskline.page.sessions import Access
from calibrate.nearest import did_you_mean

AccessOf = Callable[[Request], Access]

_bearer = HTTPBearer(
    auto_error=False, description="The token that `baskline password --token` made.", scheme_name="token"
)


def desk_of(request: Request) -> Desk:
    """Return the store, configuration and clock behind the interface."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


TheDesk = Annotated[Desk, Depends(desk_of)]


def may_look(request: Request, _token: Annotated[Any, Depends(_bearer)]) -> None:
    """Refuse whoever is not signed in."""
    if request.app.state.access_of(request) is Access.NOBODY:
        raise NotSignedInError("not signed in", remedy="Send the token as `Authorization: Bearer ...`")


def may_change(request: Request) -> None:
    """Refuse whoever may only look."""
    if request.app.state.access_of(request) is not Access.KEEPER:
        raise NotAllowedError("guests may look", remedy="Only the keeper can change something")
    if not request.app.state.desk.may_change:
        raise NotAllowedError("this page is only for looking", remedy="Ask the one of `baskline run`")


def known_spot(spot: str, desk: TheDesk) -> str:
    """Return the key of a spot that there is."""
    if spot not in desk.config.spots:
        raise NotThereError(
            f"there is no spot {spot!r}", where="spot", remedy=did_you_mean(spot, desk.config.spots)
        )
    return spot


def known_lamp(lamp: str, desk: TheDesk) -> str:
    """Return the key of a lamp that there is."""
    if lamp not in desk.config.lamps:
        raise NotThereError(
            f"there is no lamp {lamp!r}", where="lamp", remedy=did_you_mean(lamp, desk.config.lamps)
        )
    return lamp


Spot = Annotated[str, Depends(known_spot)]
Lamp = Annotated[str, Depends(known_lamp)]


class Tagged(APIRoute):
    """Gives what is read a tag, and says only that nothing has changed to whoever has it already."""

    def get_route_handler(self) -> Callable[[Request], Awaitable[Response]]:  # type: ignore[override]
        """Return the usual handler with that around it."""
        handler = super().get_route_handler()

        async def tagged(request: Request) -> Response:
            response = await handler(request)
            if request.method != "GET" or response.status_code != 200 or not hasattr(response, "body"):
                return response
            tag = tag_of(bytes(response.body))
            headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
            if tag in request.headers.get("if-none-match", ""):
                return Response(status_code=304, headers=headers)
            response.headers.update(headers)
            return response

        return tagged


def tag_of(body: bytes) -> str:
    """Return a tag that differs when the content does."""
    return f'"{hashlib.sha256(body).hexdigest()[:20]}"'
