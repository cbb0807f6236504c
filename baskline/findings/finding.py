"""One thing that `baskline check` looked at."""

from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: `fine`, or what is the matter and what to `do`.

    What is fine with something to `do` is a note: it may well stay as it is.
    """

    part: str
    subject: str
    fine: bool
    what: str
    do: str = ""


def counted(number: int, thing: str) -> str:
    """Return a number with its thing, in the plural where there are several."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def utc(ms: int) -> str:
    """Return a moment in words."""
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
