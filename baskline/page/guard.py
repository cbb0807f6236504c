"""What every request passes: its name, size, sender and intent; and what every answer carries."""

import asyncio
from collections.abc import Sequence
from typing import Final
from urllib.parse import parse_qs, quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from baskline.page.gate import Gate
from baskline.page.rendering import refusal
from baskline.page.sessions import Access, Sessions

MOST_BYTES: Final = 64 * 1024
_BODY_WITHIN_S: Final = 15.0
_LOOKING: Final = frozenset({"GET", "HEAD", "OPTIONS"})
API: Final = "/api/"
# What whoever is not signed in gets too.
_OPEN: Final = ("/login", "/guest/", "/static/")
FORM_WORD: Final = "form_word"

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
        " form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": under that, browsers do not say either which page a form is from.
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def make_safe(headers: MutableHeaders) -> None:
    """Add the security headers; an answer that does not say otherwise is kept by nobody."""
    for name, value in HEADERS.items():
        headers[name] = value
    headers.setdefault("Cache-Control", "no-store")


class SafeHeaders:
    """Puts the security headers on every answer; also on that of a request which the page's end cuts off."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        begun = False

        async def with_headers(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                make_safe(MutableHeaders(scope=message))
            await send(message)

        try:
            await self._app(scope, receive, with_headers)
        except asyncio.CancelledError:
            # The server waits only for a while when it ends. That is no fault, which a traceback would say.
            if not begun:
                ended = PlainTextResponse("The page is ending. Load it anew when it is there again.\n", 503)
                await ended(scope, receive, with_headers)


class Guard:
    """Lets a request through with `request.state.access` and `.identity`, or answers it with a refusal."""

    def __init__(self, app: ASGIApp, gate: Gate, guest_paths: Sequence[str]) -> None:
        self._app = app
        self._gate = gate
        self._guest_paths = guest_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        is_new = self._introduce(request)
        body = b""
        refused = self._refused_at_once(request)
        if refused is None and request.method not in _LOOKING:
            body_or_refusal = await _body(request)
            if isinstance(body_or_refusal, Response):
                refused = body_or_refusal
            else:
                body = body_or_refusal
                refused = self._refused_change(request, body)
                receive = _again(body, receive)
        if refused is not None:
            await refused(scope, receive, send)
            return

        async def with_identity(message: Message) -> None:
            if message["type"] == "http.response.start" and is_new:
                headers = MutableHeaders(scope=message)
                if "set-cookie" not in headers:
                    carrier = Response()
                    state = request.state
                    self._gate.give_identity(carrier, state.identity, secure=state.secure)
                    headers.append("set-cookie", carrier.headers["set-cookie"])
            await send(message)

        await self._app(scope, receive, with_identity)

    def _introduce(self, request: Request) -> bool:
        """Note who the request is from; return whether the browser is to be given an identity."""
        gate, state = self._gate, request.state
        state.gate = gate
        state.secure = gate.is_secure(request.url.scheme)
        state.by_token = False
        identity = gate.identity_of(request.cookies, secure=state.secure)
        path = _path(request)
        is_new = not identity and not path.startswith(("/static/", API))
        state.identity = identity or Sessions.new_identity()
        state.access = gate.access(state.identity)
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        if path.startswith(API) and scheme.casefold() == "bearer" and gate.is_program_token(token.strip()):
            state.access, state.by_token = Access.KEEPER, True
        return is_new

    def _refused_at_once(self, request: Request) -> Response | None:
        path, access = _path(request), request.state.access
        if not self._gate.answers_to(request.headers.get("host", "")):
            # Bare: whoever reads this may be a foreign page, which need not learn whose room it is.
            return PlainTextResponse(
                "This page does not go by that name. Ask for it by its address, or add the name to names in"
                " [page] of baskline.toml.\n",
                421,
            )
        if path.startswith(_OPEN):
            return None
        if access is Access.NOBODY:
            if path.startswith(API) or request.method not in _LOOKING or path == "/live":
                return refusal(request, 401, "Not signed in", "Sign in first.")
            asked = quote(f"{path}?{request.url.query}" if request.url.query else path)
            return RedirectResponse(f"/login?next={asked}" if asked != "/" else "/login", 303)
        if access is Access.GUEST and not self._is_for_guests(path):
            return refusal(request, 403, "Not for guests", "The keeper can show you this.")
        return None

    def _is_for_guests(self, path: str) -> bool:
        return any(
            path.startswith(each) if each.endswith("/") and each != "/" else path == each
            for each in self._guest_paths
        )

    def _refused_change(self, request: Request, body: bytes) -> Response | None:
        """Refuse a change that a foreign page, or a guest, asks for."""
        state = request.state
        if state.by_token:
            return None
        origin = request.headers.get("origin")
        if origin is not None and urlsplit(origin).netloc.casefold() != request.headers["host"].casefold():
            return refusal(request, 403, "Asked for by another page", "Open this page and do it there.")
        word = request.headers.get("x-form-word") or _form_word(request.headers, body)
        if not self._gate.sessions.is_form_word(state.identity, word):
            if _path(request).startswith(API):
                remedy = "Send the token as `Authorization: Bearer ...`; a page of ours its X-Form-Word."
                return refusal(request, 403, "A change needs a token", remedy)
            return refusal(
                request,
                403,
                "This form is too old",
                "Go back, load the page anew, and send it again. Nothing was changed.",
            )
        if state.access is Access.GUEST and _path(request) not in ("/login", "/logout"):
            return refusal(request, 403, "Guests may look", "Only the keeper can change something.")
        return None


def _path(request: Request) -> str:
    """Return the path by which the request finds its page: the address also holds what the sender made up."""
    path: str = request.scope["path"]
    return path


def _form_word(headers: Headers, body: bytes) -> str:
    if headers.get("content-type", "").partition(";")[0].strip() != "application/x-www-form-urlencoded":
        return ""
    try:
        fields = parse_qs(body.decode("ascii"), max_num_fields=200)
    except ValueError:
        return ""
    return fields.get(FORM_WORD, [""])[0]


async def _body(request: Request) -> bytes | Response:
    too_large = refusal(request, 413, "Too much at once", f"At most {MOST_BYTES // 1024} kB can be sent.")
    length = request.headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > MOST_BYTES:
        return too_large
    body = bytearray()
    try:
        async with asyncio.timeout(_BODY_WITHIN_S):
            async for part in request.stream():
                body += part
                if len(body) > MOST_BYTES:
                    return too_large
    except TimeoutError:
        return refusal(request, 408, "That came too slowly", "Send it again.")
    except ClientDisconnect:
        return refusal(request, 400, "Only a part of it came", "Send it again.")
    return bytes(body)


def _again(body: bytes, receive: Receive) -> Receive:
    """Return a `receive` that gives the body that was read already."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
