"""What one spot gave in one day, against its band."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from calibrate.samples import AT_LEAST, Flag, Samples
from exposure.bands import Band
from exposure.days import HOUR_MS, DayBounds
from exposure.dose import dose_of
from exposure.light import light_of
from exposure.segments import Segments, cadence_s, default_max_gap_s, segments, valued


@dataclass(frozen=True, slots=True)
class Gap:
    """A time of which nothing was seen, UTC milliseconds."""

    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class DayProfile:
    """One spot's day.  What was not seen is None, never zero.

    `coverage` is the part of the day that was seen, 0 to 1; every other figure speaks of that part only.
    `at_least` says that a sample at the sensor's or calibration's upper end went in: peak, mean, dose and
    hours above a limit may then be higher.

    Uncertainties `u_…` are standard (k = 1).  Hours below, in and above the band add up to `lit_hours`;
    above the ceiling is part of above the band.  `hours_…` follow the best estimate, `expected_hours_…`
    weigh each moment by the probability that the true UVI was there, given its uncertainty.

    `lit_threshold_uvi` divides lit from dark: see `day_profile`.  `flag_hours` holds, by the flag's name
    in lower case, how long each flag that occurred was set.
    """

    bounds: DayBounds
    band: Band
    max_gap_s: float
    coverage: float
    at_least: bool
    gaps: tuple[Gap, ...]
    flag_hours: Mapping[str, float]
    peak_uvi: float | None = None
    u_peak_uvi: float | None = None
    peak_ms: int | None = None
    dose_uvi_h: float | None = None
    u_dose_uvi_h: float | None = None
    dose_sed: float | None = None
    u_dose_sed: float | None = None
    lit_threshold_uvi: float | None = None
    lit_hours: float | None = None
    mean_uvi_lit: float | None = None
    u_mean_uvi_lit: float | None = None
    first_light_ms: int | None = None
    last_light_ms: int | None = None
    hours_below_band: float | None = None
    hours_in_band: float | None = None
    hours_above_band: float | None = None
    hours_above_ceiling: float | None = None
    expected_hours_below_band: float | None = None
    expected_hours_in_band: float | None = None
    expected_hours_above_band: float | None = None
    expected_hours_above_ceiling: float | None = None


def day_profile(
    samples: Samples, band: Band, bounds: DayBounds, *, max_gap_s: float | None = None
) -> DayProfile:
    """Return the profile of one day.

    Parameters
    ----------
    samples
        Samples of the spot in time order; those outside the day only help to see its edges.
    band
        The spot's band [UVI].
    bounds
        The local day.  Of a day not yet over, what is to come counts as not seen.
    max_gap_s
        Longest time between samples that counts as seen [s]; None: from the samples' own cadence, by
        `segments.default_max_gap_s`.

    Notes
    -----
    Between neighbouring samples the UVI is taken as a straight line, and times and doses are exact for
    that line.

    The threshold of light is 0.05 (what prints as 0.0 is dark), or twice the smallest standard uncertainty
    of the day, which is that of the dark level, if that is more.  Lit is what stays over it for a minute
    and three samples, or reaches five times as much.  First and last light are the ends of what was *seen*
    lit; a gap may hide an earlier or later one.

    Expected hours are right however the samples' errors are correlated: an expectation adds up.
    """
    if max_gap_s is None:
        max_gap_s = default_max_gap_s(cadence_s(samples) if len(samples) > 1 else 0.0)
    within = _between(samples, bounds.start_ms, bounds.end_ms)
    good = valued(within)
    pieces = segments(samples, bounds.start_ms, bounds.end_ms, max_gap_s)
    profile = DayProfile(
        bounds=bounds,
        band=band,
        max_gap_s=max_gap_s,
        coverage=float((pieces.end_ms - pieces.start_ms).sum()) / (bounds.end_ms - bounds.start_ms),
        at_least=bool(np.any(good.flags & np.uint32(AT_LEAST))),
        gaps=_gaps(pieces, bounds, max_gap_s),
        flag_hours=_flag_hours(within, bounds.end_ms, max_gap_s),
    )
    if len(good):
        at = int(np.argmax(good.uvi))
        profile = replace(
            profile,
            peak_uvi=float(good.uvi[at]),
            u_peak_uvi=float(good.u_uvi[at]),
            peak_ms=int(good.utc_ms[at]),
        )
    if len(pieces.start_ms):
        profile = _with_light(_with_dose(profile, pieces), pieces)
    return profile


def _between(samples: Samples, start_ms: int, end_ms: int) -> Samples:
    """Return the samples from `start_ms`, inclusive, to `end_ms`, exclusive."""
    part = slice(*(int(i) for i in np.searchsorted(samples.utc_ms, [start_ms, end_ms])))
    return Samples(samples.utc_ms[part], samples.uvi[part], samples.u_uvi[part], samples.flags[part])


def _gaps(pieces: Segments, bounds: DayBounds, max_gap_s: float) -> tuple[Gap, ...]:
    """Return the times longer than `max_gap_s` of which nothing was seen."""
    longest_ms = max_gap_s * 1000
    if len(pieces.start_ms) == 0:
        return (Gap(bounds.start_ms, bounds.end_ms),)
    inside = np.flatnonzero(pieces.start_ms[1:] - pieces.end_ms[:-1] > longest_ms)
    gaps = [
        Gap(bounds.start_ms, int(pieces.start_ms[0])),
        *(Gap(int(pieces.end_ms[i]), int(pieces.start_ms[i + 1])) for i in inside),
        Gap(int(pieces.end_ms[-1]), bounds.end_ms),
    ]
    return tuple(gap for gap in gaps if gap.end_ms - gap.start_ms > longest_ms)


def _flag_hours(within: Samples, end_ms: int, max_gap_s: float) -> dict[str, float]:
    """Return how long each flag was set; a sample stands for the time to the next, `max_gap_s` at most."""
    if len(within) == 0:
        return {}
    seen = Flag(int(np.bitwise_or.reduce(within.flags)))
    if not seen:
        return {}
    stands_for_ms = np.minimum(np.diff(within.utc_ms, append=end_ms), max_gap_s * 1000)
    hours: dict[str, float] = {}
    for flag in seen:
        assert flag.name is not None  # iterating a Flag yields its named members
        set_here = (within.flags & np.uint32(flag)) != 0
        hours[flag.name.lower()] = float(stands_for_ms[set_here].sum()) / HOUR_MS
    return hours


def _with_dose(profile: DayProfile, pieces: Segments) -> DayProfile:
    received = dose_of(pieces)
    return replace(
        profile,
        dose_uvi_h=received.uvi_h,
        u_dose_uvi_h=received.u_uvi_h,
        dose_sed=received.sed,
        u_dose_sed=received.u_sed,
    )


def _with_light(profile: DayProfile, pieces: Segments) -> DayProfile:
    """Add what concerns the time when the spot was lit."""
    light = light_of(pieces, profile.band)
    return replace(
        profile,
        lit_threshold_uvi=light.threshold_uvi,
        lit_hours=light.lit_hours,
        mean_uvi_lit=light.uvi_h / light.lit_hours if light.lit_hours else None,
        u_mean_uvi_lit=light.u_uvi_h / light.lit_hours if light.lit_hours else None,
        first_light_ms=light.first_ms,
        last_light_ms=light.last_ms,
        hours_below_band=light.lit_hours - light.over_low,
        hours_in_band=light.over_low - light.over_high,
        hours_above_band=light.over_high,
        hours_above_ceiling=light.over_ceiling,
        expected_hours_below_band=light.lit_hours - light.likely_over_low,
        expected_hours_in_band=light.likely_over_low - light.likely_over_high,
        expected_hours_above_band=light.likely_over_high,
        expected_hours_above_ceiling=light.likely_over_ceiling,
    )
