"""What a spot usually gives, and whether a day is like its other days, by medians."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Final

from exposure.days import local_minute
from exposure.lamp_days import LampDay
from exposure.profile import DayProfile

USUAL_DAYS: Final = 30
"""So many days before a day say what is usual."""
WEEK_DAYS: Final = 7
# Of fewer days nothing is usual.
LEAST_DAYS: Final = 5
# A day of which less was seen is not compared: what is missing would look like a change.
LEAST_COVERAGE: Final = 0.9
# A normal value is further from the median than this in one day of four hundred.
_UNLIKE_SIGMAS: Final = 3.0
# Less than a tenth, or a timer's quarter of an hour, means nothing to a keeper.
_LEAST_PART: Final = 0.1
_LEAST_MINUTES: Final = 15.0


@dataclass(frozen=True, slots=True)
class Usual:
    """The median of `n_days` days, and their scatter: a standard deviation by the median of deviations."""

    median: float
    scatter: float
    n_days: int


@dataclass(frozen=True, slots=True)
class Compared:
    """A day's figure beside those of the 7 and the 30 days before it; None where too few were seen well.

    `unlike` is whether it differs from the 30 days (from the 7 if there are no more) by more than these
    differ among themselves and by more than matters; None if there is nothing to compare it with.
    """

    value: float | None
    week: Usual | None
    month: Usual | None
    unlike: bool | None


def usual_of(values: Sequence[float | None]) -> Usual | None:
    """Return what is usual among these values; None with fewer than `LEAST_DAYS` known ones."""
    known = [value for value in values if value is not None]
    if len(known) < LEAST_DAYS:
        return None
    middle = float(median(known))
    scatter = 1.4826 * median(abs(value - middle) for value in known)
    return Usual(middle, scatter, len(known))


def day_figures(profile: DayProfile, lamp: LampDay | None = None) -> Mapping[str, float | None]:
    """Return the figures by which days are compared; all None for a day that was not seen well.

    Light begins and ends at minutes of the local clock, so that a change of that clock is no change.
    """
    seen = profile.coverage >= LEAST_COVERAGE
    zone = profile.bounds.time_zone
    first_ms, last_ms = profile.first_light_ms, profile.last_light_ms
    figures = {
        "dose_uvi_h": profile.dose_uvi_h,
        "mean_uvi_lit": profile.mean_uvi_lit,
        "peak_uvi": profile.peak_uvi,
        "lit_hours": profile.lit_hours,
        "hours_in_band": profile.hours_in_band,
        "first_light_minute": None if first_ms is None else local_minute(first_ms, zone),
        "last_light_minute": None if last_ms is None else local_minute(last_ms, zone),
        "ramp_minutes": None if lamp is None else lamp.ramp_minutes,
    }
    return {name: value if seen else None for name, value in figures.items()}


def compare_day(
    today: date, figures: Mapping[str, float | None], before: Mapping[date, Mapping[str, float | None]]
) -> dict[str, Compared]:
    """Return each figure of a day beside those of the days before it; `before` may hold any days."""
    compared = {}
    for name, value in figures.items():
        week, month = (
            usual_of([before[day][name] for day in _days_before(today, n) if day in before])
            for n in (WEEK_DAYS, USUAL_DAYS)
        )
        compared[name] = Compared(value, week, month, _unlike(name, value, month or week))
    return compared


def _days_before(today: date, n: int) -> list[date]:
    return [today - timedelta(days=back) for back in range(1, n + 1)]


def _unlike(name: str, value: float | None, usual: Usual | None) -> bool | None:
    if value is None or usual is None:
        return None
    least = _LEAST_MINUTES if name.endswith("_minute") else _LEAST_PART * abs(usual.median)
    return abs(value - usual.median) > max(least, _UNLIKE_SIGMAS * usual.scatter)
