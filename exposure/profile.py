"""What one spot gave in one day, against its band."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from calibrate.samples import AT_LEAST, Flag, Samples
from exposure.bands import Band
from exposure.days import HOUR_MS, DayBounds
from exposure.dose import Dose, dose_of
from exposure.light import Light, LightSeen, lit_pieces, threshold_of
from exposure.segments import Cutter, Segments, cadence_s, default_max_gap_s, valued


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
    seen = DaySeen(band, bounds, max_gap_s)
    pieces = seen.add(samples)
    if seen.threshold_uvi is None:
        return seen.profile(None)
    light = LightSeen(band, seen.threshold_uvi)
    light.add(pieces, lit_pieces(pieces, seen.threshold_uvi))
    return seen.profile(light.light)


class DaySeen:
    """Gathers a day's profile from samples that come in parts, in order of time."""

    def __init__(self, band: Band, bounds: DayBounds, max_gap_s: float) -> None:
        self._band = band
        self._bounds = bounds
        self._max_gap_s = max_gap_s
        self._cutter = Cutter(bounds.start_ms, bounds.end_ms, max_gap_s)
        self._flags = FlagHours(bounds.end_ms, max_gap_s)
        self._peak: tuple[float, float, int] | None = None  # UVI, its uncertainty, when
        self._at_least = False
        self._seen_ms = 0
        self._seen_to_ms: int | None = None
        self._gaps: list[Gap] = []
        self._uvi_h = self._u_uvi_h = 0.0
        self.threshold_uvi: float | None = None
        """What divides lit from dark, as far as has been seen; None while nothing was."""

    def add(self, samples: Samples) -> Segments:
        """Take in the next part; return its pieces."""
        within = samples.between(self._bounds.start_ms, self._bounds.end_ms)
        self._flags.add(within)
        good = valued(within)
        if len(good):
            self._at_least |= bool(np.any(good.flags & np.uint32(AT_LEAST)))
            at = int(np.argmax(good.uvi))
            if self._peak is None or good.uvi[at] > self._peak[0]:
                self._peak = float(good.uvi[at]), float(good.u_uvi[at]), int(good.utc_ms[at])
        pieces = self._cutter.cut(samples)
        if len(pieces):
            self._add_pieces(pieces)
        return pieces

    def _add_pieces(self, pieces: Segments) -> None:
        from_ms = self._bounds.start_ms if self._seen_to_ms is None else self._seen_to_ms
        self._gaps += self._gap(from_ms, int(pieces.start_ms[0]))
        for at in np.flatnonzero(pieces.start_ms[1:] - pieces.end_ms[:-1] > self._max_gap_s * 1000).tolist():
            self._gaps += self._gap(int(pieces.end_ms[at]), int(pieces.start_ms[at + 1]))
        self._seen_to_ms = int(pieces.end_ms[-1])
        self._seen_ms += int((pieces.end_ms - pieces.start_ms).sum())
        received = dose_of(pieces)
        self._uvi_h += received.uvi_h
        self._u_uvi_h += received.u_uvi_h
        threshold_uvi = threshold_of(pieces)
        known = self.threshold_uvi
        self.threshold_uvi = threshold_uvi if known is None else min(known, threshold_uvi)

    def _gap(self, from_ms: int, to_ms: int) -> tuple[Gap, ...]:
        """Return that time as a gap if it is long enough to be one."""
        return (Gap(from_ms, to_ms),) if to_ms - from_ms > self._max_gap_s * 1000 else ()

    def profile(self, light: Light | None) -> DayProfile:
        """Return the profile once all has been taken in; `light` None where no piece was seen."""
        bounds = self._bounds
        unseen_ms = bounds.start_ms if self._seen_to_ms is None else self._seen_to_ms
        profile = DayProfile(
            bounds=bounds,
            band=self._band,
            max_gap_s=self._max_gap_s,
            coverage=float(self._seen_ms) / (bounds.end_ms - bounds.start_ms),
            at_least=self._at_least,
            gaps=(*self._gaps, *self._gap(unseen_ms, bounds.end_ms)),
            flag_hours=self._flags.hours(),
        )
        if self._peak is not None:
            uvi, u_uvi, at_ms = self._peak
            profile = replace(profile, peak_uvi=uvi, u_peak_uvi=u_uvi, peak_ms=at_ms)
        if light is None:
            return profile
        received = Dose(self._uvi_h, self._u_uvi_h, self._seen_ms / 1000, self._at_least)
        return _with_light(
            replace(
                profile,
                dose_uvi_h=received.uvi_h,
                u_dose_uvi_h=received.u_uvi_h,
                dose_sed=received.sed,
                u_dose_sed=received.u_sed,
            ),
            light,
        )


class FlagHours:
    """Adds up how long each flag was set; a sample stands for the time to the next, at most a gap's."""

    def __init__(self, end_ms: int, max_gap_s: float) -> None:
        self._end_ms = end_ms
        self._most_ms = max_gap_s * 1000
        self._last: tuple[int, int] | None = None  # when, and its flags
        self._set_ms: dict[Flag, float] = {}

    def add(self, samples: Samples) -> None:
        """Take in samples later than those before."""
        if len(samples) == 0:
            return
        if self._last is not None:
            last_ms, flags = self._last
            self._count(Flag(flags), min(int(samples.utc_ms[0]) - last_ms, self._most_ms))
        self._last = int(samples.utc_ms[-1]), int(samples.flags[-1])
        seen = Flag(int(np.bitwise_or.reduce(samples.flags)))
        if seen and len(samples) > 1:
            stands_for_ms = np.minimum(np.diff(samples.utc_ms), self._most_ms)
            for flag in seen:
                self._count(flag, float(stands_for_ms[(samples.flags[:-1] & np.uint32(flag)) != 0].sum()))

    def _count(self, flags: Flag, set_ms: float) -> None:
        for flag in flags:
            self._set_ms[flag] = self._set_ms.get(flag, 0.0) + set_ms

    def hours(self) -> dict[str, float]:
        """Return the hours by the flags' names, once all has been taken in."""
        if self._last is not None:
            last_ms, flags = self._last
            self._count(Flag(flags), min(self._end_ms - last_ms, self._most_ms))
            self._last = None
        return {str(flag.name).lower(): self._set_ms[flag] / HOUR_MS for flag in Flag if flag in self._set_ms}


def _with_light(profile: DayProfile, light: Light) -> DayProfile:
    """Add what concerns the time when the spot was lit."""
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
