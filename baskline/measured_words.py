"""Words for measured numbers and for days, with no more digits than their uncertainty supports."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

# Twice a standard uncertainty: about 95 %.
_K: Final = 2.0
NOT_KNOWN: Final = "not known"


def decimals_by(u_value: float) -> int:
    """Return how many decimals a number deserves: two digits of its k = 2 interval, at most two."""
    half_width = _K * u_value
    return 0 if half_width >= 9.5 else 1 if half_width >= 0.095 else 2


def measured(value: float | None, u_value: float | None, unit: str = "", *, at_least: bool = False) -> str:
    """Return `27.1 ± 3.1 UVI·h`, `152 ± 14`: a value with twice its standard uncertainty (k = 2)."""
    if value is None or u_value is None:
        return NOT_KNOWN
    digits = decimals_by(u_value)
    text = f"{_number(value, digits)} ± {_K * u_value:.{digits}f} {unit}".rstrip()
    return f"at least {text}" if at_least else text


def rounded_like(value: float | None, u_value: float | None) -> str:
    """Return a number alone, with the decimals that its uncertainty supports: one if that is not known."""
    if value is None:
        return NOT_KNOWN
    return _number(value, 1 if u_value is None else decimals_by(u_value))


def _number(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def percent(part: float) -> str:
    """Return a part of a whole: what says 100 % lacks next to nothing, and 0 % is nothing."""
    if 0 < part < 0.005:
        return "under 1 %"
    return f"{99 if 0.99 <= part < 0.998 else round(100 * part)} %"


def full_day(day: date) -> str:
    """Return `Saturday 17 May 2025`."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def plain_day(day: date) -> str:
    """Return `17 May 2025`."""
    return f"{day.day} {day:%B %Y}"


def short_day(day: date) -> str:
    """Return `Sat 17`."""
    return f"{day:%a} {day.day:2}"


def local_moment(utc_ms: int, zone: ZoneInfo) -> str:
    """Return `17 May 15:10`, as the keeper's clock shows it."""
    at = datetime.fromtimestamp(utc_ms / 1000, zone)
    return f"{at.day} {at:%b %H:%M}"


def times(n: int) -> str:
    """Return `once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(n, f"{n} times")
