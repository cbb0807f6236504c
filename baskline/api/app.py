"""The HTTP interface as an application, to be mounted at /api/v1."""

from collections.abc import Callable
from typing import Any, Final

from fastapi import Depends, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request

from baskline.api import checks, days, events, lamps, live, room
from baskline.api.access import AccessOf, may_look
from baskline.api.problems import MEDIA_TYPE, Problem, fault, http_error, keeper_error, wrong_request
from baskline.page.desk import Desk
from baskline.page.sessions import Access
from calibrate.errors import KeeperError

_ABOUT: Final = """\
What a baskline bridge measures and knows, for programs of yours. It measures and tells; it switches no lamp.

Units stand at the end of names: `_uvi` (UV Index), `_uvi_h` (UV Index times hours), `_sed` (100 J/m²), `_s`,
`_ms`, `_hours`. `u_` before a name is its standard uncertainty (k = 1). `null` means not known or not so,
never zero. New keys may come within version 1: ignore what you do not know.

Programs send `Authorization: Bearer TOKEN`. A browser that is signed in to the page may read too, and change
with the page's form word in `X-Form-Word`. What went wrong is said as RFC 9457 has it. What is read carries
an `ETag`.
"""


_MODULES: Final = (room, days, checks, lamps, events, live)


def create_api(desk: Desk, access_of: AccessOf | None = None) -> FastAPI:
    """Return the interface on the store of `desk`.

    `access_of` says what whoever asks may do; without it, what the page's guard has found.
    """
    from importlib.metadata import version

    api = FastAPI(
        title="baskline",
        version=f"1 (baskline {version('baskline')})",
        summary="UV Index at reptile basking spots.",
        description=_ABOUT,
        openapi_url="/openapi.json",
        docs_url=None,
        redoc_url=None,
        dependencies=[Depends(may_look)],
        exception_handlers={
            KeeperError: keeper_error,
            HTTPException: http_error,
            RequestValidationError: wrong_request,
            Exception: fault,
        },
        generate_unique_id_function=lambda route: route.name.strip("_"),
        redirect_slashes=False,
    )
    api.state.desk = desk
    api.state.access_of = access_of or _found_by_the_guard
    api.state.n_listeners = 0
    for module in _MODULES:
        api.include_router(module.router)
    api.state.operations = [route for module in _MODULES for route in module.router.routes]
    api.openapi = _with_problems(api.openapi)  # type: ignore[method-assign]
    return api


def _found_by_the_guard(request: Request) -> Access:
    access = request.state.access
    assert isinstance(access, Access)
    return access


def _with_problems(usual: Callable[[], dict[str, Any]]) -> Callable[[], dict[str, Any]]:
    """Return what describes the interface, with what each operation says when something went wrong."""
    made: dict[str, Any] = {}

    def openapi() -> dict[str, Any]:
        if not made:
            made.update(usual())
            _add_problems(made)
        return made

    return openapi


def _add_problems(described: dict[str, Any]) -> None:
    schemas = described["components"]["schemas"]
    own = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas.update(own.pop("$defs"))
    schemas["Problem"] = own
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            answers = operation["responses"]
            answers.pop("422", None)
            problems = {"401": "Not signed in.", "403": "Not allowed."}
            if "{" in path:
                problems["404"] = "There is no such thing."
            if operation.get("parameters") or "requestBody" in operation:
                problems["422"] = "The request cannot be meant."
            if "requestBody" in operation:
                problems["400"] = "The body is no JSON."
            if method == "post":
                problems["409"] = "That cannot be done as things stand."
            problems["503"] = "The store cannot be read now."
            for status, words in problems.items():
                answers[status] = {
                    "description": words,
                    "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
                }
            if method == "get" and path != "/live":
                answers["200"]["headers"] = {
                    "ETag": {"description": "Differs when the content does.", "schema": {"type": "string"}}
                }
                answers["304"] = {
                    "description": "Nothing has changed since the `If-None-Match` that was sent."
                }
