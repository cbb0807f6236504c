"""From a template and values to an answer; and refusals in words."""

import hashlib
from functools import cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from baskline.api.problems import problem
from baskline.caution import LAMP_CAUTION
from baskline.page.sessions import Access

FOLDER: Final = Path(__file__).parent
STATIC: Final = FOLDER / "static"


@cache
def environment() -> Environment:
    """Return what renders the templates: everything escaped, every misspelt name an error."""
    made = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals["static"] = static
    made.globals["caution"] = LAMP_CAUTION
    return made


def compile_templates() -> None:
    """Have all templates ready."""
    for name in environment().list_templates(extensions=["html"]):
        environment().get_template(name)


@cache
def static(name: str) -> str:
    """Return the address of a file in `static/`; it differs when the content does, so it can be kept."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"


def render(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a whole page.

    Templates extend `base.html`; besides `values` they have `form_word` (for each form's hidden field),
    `keeper` (whether changes may be offered), `access`, `path` and `room_name`.
    """
    return HTMLResponse(fragment(request, template, **values), status)


def fragment(request: Request, template: str, **values: Any) -> str:
    """Return a part of a page."""
    state, app = request.state, request.app.state
    keeper = state.access is Access.KEEPER
    return (
        environment()
        .get_template(template)
        .render(
            **values,
            form_word=state.gate.sessions.form_word(state.identity),
            keeper=keeper and app.desk.may_change,
            access=state.access.value,
            has_password=state.gate.has_password,
            read_only=not app.desk.may_change,
            path=request.url.path,
            nav=[entry for entry in app.nav if keeper or (entry.for_guests and state.access is Access.GUEST)],
            room_name=f"{app.desk.config.bridge.site} / {app.desk.config.bridge.name}",
        )
    )


def refusal(request: Request, status: int, what: str, remedy: str) -> Response:
    """Return a refusal in words: a page for people, JSON for programs."""
    if request.url.path.startswith("/api/"):
        return problem(status, what, remedy=remedy)
    return render(request, "refusal.html", status, what=what, remedy=remedy)
