"""A day's profile as plain JSON values under names that stay."""

from collections.abc import Mapping
from typing import overload

from exposure.days import iso_local
from exposure.dose_verdict import DoseVerdict
from exposure.profile import DayProfile
from exposure.usual import Compared, Usual

SCHEMA = "baskline.day/1"
"""Names the meaning of the keys; a change of meaning or a lost key raises its number."""

_DIGITS = 4  # UVI, hours, doses: far below every uncertainty, and the same on every machine


def to_json_dict(profile: DayProfile, *, spot: str) -> dict[str, object]:
    """Return the profile of `spot`'s day as JSON values: str, int, float, bool, None, list, dict.

    Numbers are rounded to four decimals.  What was not seen is None.  Times are ISO 8601 local times with
    their offset, to the second.
    """
    time_zone = profile.bounds.time_zone

    def time_of(utc_ms: int | None) -> str | None:
        return None if utc_ms is None else iso_local(utc_ms, time_zone)

    return {
        "schema": SCHEMA,
        "spot": spot,
        "date": profile.bounds.date.isoformat(),
        "time_zone": time_zone,
        "day_hours": rounded(profile.bounds.hours),
        "band": {
            "low_uvi": profile.band.low_uvi,
            "high_uvi": profile.band.high_uvi,
            "ceiling_uvi": profile.band.ceiling_uvi,
        },
        "coverage": rounded(profile.coverage),
        "at_least": profile.at_least,
        "peak_uvi": rounded(profile.peak_uvi),
        "u_peak_uvi": rounded(profile.u_peak_uvi),
        "peak_at": time_of(profile.peak_ms),
        "mean_uvi_lit": rounded(profile.mean_uvi_lit),
        "u_mean_uvi_lit": rounded(profile.u_mean_uvi_lit),
        "dose_uvi_h": rounded(profile.dose_uvi_h),
        "u_dose_uvi_h": rounded(profile.u_dose_uvi_h),
        "dose_sed": rounded(profile.dose_sed),
        "u_dose_sed": rounded(profile.u_dose_sed),
        "lit_hours": rounded(profile.lit_hours),
        "lit_threshold_uvi": rounded(profile.lit_threshold_uvi),
        "first_light": time_of(profile.first_light_ms),
        "last_light": time_of(profile.last_light_ms),
        "hours_below_band": rounded(profile.hours_below_band),
        "hours_in_band": rounded(profile.hours_in_band),
        "hours_above_band": rounded(profile.hours_above_band),
        "hours_above_ceiling": rounded(profile.hours_above_ceiling),
        "expected_hours_below_band": rounded(profile.expected_hours_below_band),
        "expected_hours_in_band": rounded(profile.expected_hours_in_band),
        "expected_hours_above_band": rounded(profile.expected_hours_above_band),
        "expected_hours_above_ceiling": rounded(profile.expected_hours_above_ceiling),
        "max_gap_s": rounded(profile.max_gap_s),
        "gaps": [{"from": time_of(gap.start_ms), "to": time_of(gap.end_ms)} for gap in profile.gaps],
        "flag_hours": {name: rounded(hours) for name, hours in sorted(profile.flag_hours.items())},
    }


def compared_fields(compared: Mapping[str, Compared]) -> dict[str, object]:
    """Return a day's figures beside those of the days before it."""
    return {
        name: {
            "value": rounded(each.value),
            "week": _usual_fields(each.week),
            "month": _usual_fields(each.month),
            "unlike": each.unlike,
        }
        for name, each in compared.items()
    }


def _usual_fields(usual: Usual | None) -> dict[str, object] | None:
    if usual is None:
        return None
    return {"median": rounded(usual.median), "scatter": rounded(usual.scatter), "days": usual.n_days}


def verdict_fields(verdict: DoseVerdict) -> dict[str, object]:
    """Return what can be said of a day's dose."""
    limits = {name: verdict.evidence[name] for name in ("least_uvi_h", "greatest_uvi_h", "usual_uvi_h")}
    return {
        "state": verdict.state.value,
        "sentence": verdict.sentence,
        "probability": rounded(verdict.probability),
        **{name: rounded(uvi_h) if isinstance(uvi_h, float) else None for name, uvi_h in limits.items()},
        "light_coverage": rounded(verdict.light_coverage),
    }


@overload
def rounded(number: float) -> float: ...


@overload
def rounded(number: float | None) -> float | None: ...


def rounded(number: float | None) -> float | None:
    """Round, and turn -0.0 into 0.0."""
    return None if number is None else round(number, _DIGITS) + 0.0
