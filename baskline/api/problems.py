"""What went wrong, as RFC 9457 has it, with what a keeper can do about it."""

import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Match, Route

from calibrate.errors import KeeperError

log = logging.getLogger("baskline.api")

MEDIA_TYPE: Final = "application/problem+json"


class NotThereError(KeeperError):
    """Something that was asked for and is not there."""


class NotAllowedError(KeeperError):
    """Something that whoever asks may not do."""


class NotSignedInError(KeeperError):
    """Nobody whom this bridge knows."""


class RefusedError(KeeperError):
    """A change that cannot be made as things stand."""


_STATUS: Final[Mapping[type[KeeperError], int]] = {
    NotThereError: 404,
    NotAllowedError: 403,
    NotSignedInError: 401,
    RefusedError: 409,
}


class Slip(BaseModel):
    """One thing that is wrong with a request."""

    where: str = Field(description="Where in the request.", examples=["query.limit"])
    what: str = Field(description="What is wrong there.", examples=["Input should be greater than 0"])


class Problem(BaseModel):
    """What went wrong (RFC 9457)."""

    type: str = Field(description="Always `about:blank`: `title` is what the status says.")
    title: str = Field(description="What the status says.", examples=["Not Found"])
    status: int = Field(description="The HTTP status.", examples=[404])
    detail: str = Field(
        description="All of it in words.", examples=["there is no spot 'salte'. Did you mean 'slate'?"]
    )
    what: str = Field(description="What happened.", examples=["there is no spot 'salte'"])
    where: str | None = Field(description="Where, if that can be told.", examples=["spot"])
    remedy: str | None = Field(description="What to do.", examples=["Did you mean 'slate'?"])
    slips: list[Slip] = Field(description="All that is wrong with the request, if it is that.")


def problem(
    status: int,
    what: str,
    *,
    where: str = "",
    remedy: str = "",
    slips: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """Return an answer that says what went wrong."""
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": ". ".join(part.rstrip(".") if part is what else part for part in (what, remedy) if part),
        "what": what,
        "where": where or None,
        "remedy": remedy or None,
        "slips": list(slips),
    }
    own = {"Cache-Control": "no-store"} | ({"WWW-Authenticate": "Bearer"} if status == 401 else {})
    return JSONResponse(content, status, {**own, **(headers or {})}, MEDIA_TYPE)


async def keeper_error(request: Request, error: Exception) -> JSONResponse:
    """Answer with what a keeper can mend."""
    assert isinstance(error, KeeperError)
    status = _STATUS.get(type(error), 503)
    if status == 503:
        log.warning(error.what, extra={"where": error.where, "do": error.remedy, "path": request.url.path})
        # Its place is a file of this computer: that is for the log.
        return problem(status, error.what, remedy=error.remedy)
    return problem(status, error.what, where=error.where, remedy=error.remedy)


async def http_error(request: Request, error: Exception) -> JSONResponse:
    """Answer to a path or a method that there is not, or to a body that is no JSON."""
    assert isinstance(error, HTTPException)
    status, headers = error.status_code, dict(error.headers or {})
    if status == 405:
        headers["Allow"] = ", ".join(_methods_of(request))
    return problem(
        status,
        _WORDS.get(status, str(error.detail)),
        remedy="See openapi.json for what there is",
        headers=headers,
    )


_WORDS: Final = {
    400: "the body is no JSON",
    404: "there is nothing at this path",
    405: "this cannot be done here",
}


def _methods_of(request: Request) -> list[str]:
    """Return all methods of a path: each of them is a route of its own."""
    routes: list[Route] = request.app.state.operations
    return sorted(
        method
        for route in routes
        if route.matches(request.scope)[0] is not Match.NONE
        for method in route.methods or ()
    )


async def wrong_request(_request: Request, error: Exception) -> JSONResponse:
    """Answer to a request with values that cannot be meant."""
    slips = [
        {"where": ".".join(map(str, each["loc"])), "what": str(each["msg"])}
        for each in error.errors()  # type: ignore[attr-defined]  # RequestValidationError, whose module is heavy
    ]
    first = slips[0] if slips else {"where": "", "what": "this request cannot be meant"}
    return problem(
        422,
        first["what"],
        where=first["where"],
        remedy="See openapi.json for what is allowed there",
        slips=slips,
    )


async def fault(_request: Request, _error: Exception) -> JSONResponse:
    """Answer to a fault of ours; its traceback is in the log."""
    return problem(
        500,
        "this is a fault in baskline",
        remedy="The bridge goes on watching. Please report it with what the log says",
    )
