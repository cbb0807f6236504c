"""A day's profile as plain JSON values under names that stay."""

from exposure.days import iso_local
from exposure.profile import DayProfile

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
        "day_hours": _rounded(profile.bounds.hours),
        "band": {
            "low_uvi": profile.band.low_uvi,
            "high_uvi": profile.band.high_uvi,
            "ceiling_uvi": profile.band.ceiling_uvi,
        },
        "coverage": _rounded(profile.coverage),
        "at_least": profile.at_least,
        "peak_uvi": _rounded(profile.peak_uvi),
        "u_peak_uvi": _rounded(profile.u_peak_uvi),
        "peak_at": time_of(profile.peak_ms),
        "mean_uvi_lit": _rounded(profile.mean_uvi_lit),
        "u_mean_uvi_lit": _rounded(profile.u_mean_uvi_lit),
        "dose_uvi_h": _rounded(profile.dose_uvi_h),
        "u_dose_uvi_h": _rounded(profile.u_dose_uvi_h),
        "dose_sed": _rounded(profile.dose_sed),
        "u_dose_sed": _rounded(profile.u_dose_sed),
        "lit_hours": _rounded(profile.lit_hours),
        "lit_threshold_uvi": _rounded(profile.lit_threshold_uvi),
        "first_light": time_of(profile.first_light_ms),
        "last_light": time_of(profile.last_light_ms),
        "hours_below_band": _rounded(profile.hours_below_band),
        "hours_in_band": _rounded(profile.hours_in_band),
        "hours_above_band": _rounded(profile.hours_above_band),
        "hours_above_ceiling": _rounded(profile.hours_above_ceiling),
        "expected_hours_below_band": _rounded(profile.expected_hours_below_band),
        "expected_hours_in_band": _rounded(profile.expected_hours_in_band),
        "expected_hours_above_band": _rounded(profile.expected_hours_above_band),
        "expected_hours_above_ceiling": _rounded(profile.expected_hours_above_ceiling),
        "max_gap_s": _rounded(profile.max_gap_s),
        "gaps": [{"from": time_of(gap.start_ms), "to": time_of(gap.end_ms)} for gap in profile.gaps],
        "flag_hours": {name: _rounded(hours) for name, hours in sorted(profile.flag_hours.items())},
    }


def _rounded(number: float | None) -> float | None:
    """Round, and turn -0.0 into 0.0."""
    return None if number is None else round(number, _DIGITS) + 0.0
