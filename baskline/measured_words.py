"""Words for measured numbers and for days, with no more digits than their uncertainty supports."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from exposure.wording import decimals_by, number_text, uvi_text

# Twice a standard uncertainty: about 95 %.
_K: Final = 2.0
NOT_KNOWN: Final = "not known"


def measured(value: float | None, u_value: float | None, unit: str = "", *, at_least: bool = False) -> str:
    """Return `27.1 ± 3.1 UVI·h`, `152 ± 14`: a value with twice its standard uncertainty (k = 2)."""
    if value is None or u_value is None:
        return NOT_KNOWN
    return f"{uvi_text(value, u_value, _K, at_least=at_least)} {unit}".rstrip()


def rounded_like(value: float | None, u_value: float | None) -> str:
    """Return a number alone, with the decimals that its uncertainty supports: one if that is not known."""
    if value is None:
        return NOT_KNOWN
    return number_text(value, 1 if u_value is None else decimals_by(_K * u_value))


def percent(part: float) -> str:
    """Return a part of a whole: what says 100 % lacks next to nothing, and 0 % is nothing."""
    if 0 < part < 0.005:
        return "under 1 %"
    return f"{99 if 0.99 <= part < 0.998 else round(100 * part)} %"


def signed(value: float, form: str) -> str:
    """Return a number in a format such as `+.2f`, with a minus as high as the plus."""
    return format(value, form).replace("-", "−")


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
