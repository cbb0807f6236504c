"""What addresses and forms ask for, and what is refused of it in words."""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Final
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from calibrate.nearest import did_you_mean

_FIRST_YEAR: Final = 1970
_LAST_YEAR: Final = 2999


async def fields(request: Request) -> dict[str, str]:
    """Return what a form brings: of each field its first value, '' for an empty one left out."""
    found = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=200)
    return {name: values[0] for name, values in found.items()}


def acting(request: Request) -> Desk:
    """Return the desk for a change, and refuse it on a page that may change nothing."""
    desk: Desk = request.app.state.desk
    if not desk.may_change:
        raise AskedError(
            "this page is only for looking",
            remedy="Do it on the page of baskline run. Nothing was changed",
            status=403,
        )
    return desk


def done(path: str) -> Response:
    """Lead to where the change can be seen."""
    return RedirectResponse(path, 303)


def known(kind: str, key: str, keys: Collection[str]) -> str:
    """Return `key` if there is such a spot, lamp or enclosure."""
    if key not in keys:
        raise AskedError(f"there is no {kind} {key[:60]!r}", remedy=did_you_mean(key[:60], keys), status=404)
    return key


def asked_day(text: str) -> date | None:
    """Return a day as an address or a field has it; None for ''."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        raise AskedError(f"{text[:40]!r} is no day", remedy="Write it as 2025-05-17")
    return day


def asked_number(text: str, what: str, low: float, high: float) -> float | None:
    """Return a number as somebody types it, with a point or a comma; None for ''."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise AskedError(
            f"{what}: {text[:40]!r} is no number from {low:g} to {high:g}", remedy="Type it again"
        )
    return value


def asked_entry(form: Mapping[str, str], field: str) -> int:
    """Return the number of what a form's hidden field or list names."""
    number = form.get(field, "")
    if not number.isdecimal() or len(number) > 9:
        raise AskedError(f"that is no number of a {field}", remedy="Go back and load the page anew")
    return int(number)


def own_path(goal: str) -> str:
    """Return a path on this page, whatever was asked for."""
    is_own = goal.startswith("/") and not goal.startswith("//") and goal.isprintable() and "\\" not in goal
    return goal if is_own else "/"
