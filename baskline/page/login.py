"""Signing in and out, and the guests' link."""

from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from baskline.page.forms import own_path
from baskline.page.pages import Page
from baskline.page.rendering import refusal, render
from baskline.page.sessions import Access
from exposure.wording import duration_text


async def show(request: Request) -> Response:
    """Ask for the password."""
    goal = own_path(request.query_params.get("next", "/"))
    if request.state.access is Access.KEEPER:
        return RedirectResponse(goal, 303)
    return render(request, "login.html", goal=goal, trouble="")


async def sign_in(request: Request) -> Response:
    """Begin the keeper's session if the password is right."""
    gate = request.state.gate
    fields = parse_qs((await request.body()).decode("utf-8", "replace"))
    goal = own_path(fields.get("next", ["/"])[0])
    address = request.client.host if request.client else ""
    wait_s = gate.attempts.wait_s(address)
    if wait_s > 0:
        trouble = f"Too many tries. Wait {duration_text(wait_s)}, then try again."
        refused = render(request, "login.html", 429, goal=goal, trouble=trouble)
        refused.headers["Retry-After"] = str(round(wait_s) + 1)
        return refused
    gate.attempts.count(address)
    if not await gate.is_password(fields.get("password", [""])[0]):
        return render(request, "login.html", 403, goal=goal, trouble="That is not the password.")
    gate.attempts.forgive(address)
    gate.sessions.end(request.state.identity)
    return _begun(request, RedirectResponse(goal, 303), Access.KEEPER)


async def sign_out(request: Request) -> Response:
    """End the session."""
    request.state.gate.sessions.end(request.state.identity)
    return RedirectResponse("/login", 303)


async def guest(request: Request) -> Response:
    """Begin a guest's session by the link that the keeper gave.

    It ends on a page of its own: the cookie is not sent along when a foreign page has led here.
    """
    gate = request.state.gate
    address = request.client.host if request.client else ""
    if request.state.access is Access.KEEPER:
        return RedirectResponse("/", 303)
    if gate.attempts.wait_s(address) > 0:
        return refusal(request, 429, "Too many tries", "Wait some minutes, then try again.")
    if not gate.is_guest_token(request.path_params["token"]):
        gate.attempts.count(address)
        return refusal(request, 403, "This link is not valid", "Ask the keeper for the present one.")
    return _begun(request, render(request, "guest.html"), Access.GUEST)


def _begun(request: Request, response: Response, access: Access) -> Response:
    gate = request.state.gate
    gate.give_identity(response, gate.sessions.begin(access), secure=request.state.secure)
    return response


PAGE = Page(
    routes=(
        Route("/login", show, methods=["GET"]),
        Route("/login", sign_in, methods=["POST"]),
        Route("/logout", sign_out, methods=["POST"]),
        Route("/guest/{token}", guest, methods=["GET"]),
    ),
    guest_paths=("/logout",),
)
