"""A notice in words to read."""

from collections.abc import Callable
from typing import Final

from exposure.attention import Notice, Why
from exposure.events import Event

_LISTED: Final = 10  # more do not fit on a phone


def notice_text(notice: Notice, name_of: Callable[[Event], str]) -> str:
    """Return what happened where, a line each, and what to do about it."""
    lines = [_line(event, name_of(event)) for event in notice.events[:_LISTED]]
    n_more = len(notice.events) - _LISTED
    if n_more > 0:
        lines.append(f"And {n_more} more.")
    if notice.why is not Why.OVER:  # then there is nothing left to do
        lines += [f"{advice}." for advice in dict.fromkeys(event.advice for event in notice.events)]
    return "\n".join(lines)


def _line(event: Event, name: str) -> str:
    ending = "" if event.closing is None else f"; over: {event.closing}"
    return f"{name}: {event.sentence}{ending}."
