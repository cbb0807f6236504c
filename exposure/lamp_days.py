"""What one day's samples say of the lamp over a spot."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from calibrate.samples import Flag, Samples
from exposure.days import HOUR_MS, DayBounds
from exposure.light import lit_pieces, threshold_of
from exposure.segments import Segments, cadence_s, default_max_gap_s, segments

# A level is taken only once the lamp is settled: 30 minutes after it came on (common practice, no source).
_WARM_UP_MS = 30 * 60_000
# Less than half an hour of settled light is no day's level.
_LEAST_SETTLED_HOURS = 0.5
# Darkness shorter than this is flicker, not a switch-off.
_FLICKER_MS = 5 * 60_000
# Up to strength: nine tenths of the day's level.
_UP_PART = 0.9
# Under these a level is not what the same lamp gave on another day.  One beyond what was calibrated is: the
# same curve gives it each day, and a lamp that rises past the highest pair must not seem to stand still.
_UNLIKE = Flag.SATURATED | Flag.NEGATIVE | Flag.TEMPERATURE | Flag.OTHER_LAMP_KIND


@dataclass(frozen=True, slots=True)
class LampDay:
    """A lamp's day as seen from its spot.

    `hours_on` of the `coverage` (0 to 1) of the day that was seen; `switch_ons` seen from dark to light.
    `level_uvi` is the median UVI of the settled light, with the median standard uncertainty of its samples,
    None where there was too little of it.  `ramp_minutes`: from first light to nine tenths of the level, of
    the day's first switch-on that was seen.
    """

    date: date
    coverage: float
    hours_on: float
    switch_ons: int
    level_uvi: float | None
    u_level_uvi: float | None
    ramp_minutes: float | None


def lamp_day(samples: Samples, bounds: DayBounds, *, max_gap_s: float | None = None) -> LampDay:
    """Return a lamp's day from its spot's samples, all derived by one calibration.

    `max_gap_s` as in `profile.day_profile`.  Samples whose flags say that they are not like others
    (saturated, under dark, too warm, another kind of lamp) do not go into the level.
    """
    if max_gap_s is None:
        max_gap_s = default_max_gap_s(cadence_s(samples) if len(samples) > 1 else 0.0)
    pieces = segments(samples, bounds.start_ms, bounds.end_ms, max_gap_s)
    if len(pieces.start_ms) == 0:
        return LampDay(bounds.date, 0.0, 0.0, 0, None, None, None)
    coverage = float((pieces.end_ms - pieces.start_ms).sum()) / (bounds.end_ms - bounds.start_ms)
    spells = _spells(pieces)
    level_uvi, u_level_uvi = _level(pieces, spells)
    switched_on = [
        begin for begin, _ in spells if begin and pieces.end_ms[begin - 1] == pieces.start_ms[begin]
    ]
    return LampDay(
        date=bounds.date,
        coverage=coverage,
        hours_on=sum(_length_ms(pieces, begin, end) for begin, end in spells) / HOUR_MS,
        switch_ons=len(switched_on),
        level_uvi=level_uvi,
        u_level_uvi=u_level_uvi,
        ramp_minutes=_ramp_minutes(pieces, switched_on[0], level_uvi) if switched_on and level_uvi else None,
    )


def _spells(pieces: Segments) -> list[tuple[int, int]]:
    """Return the bounds of the stretches of pieces over which the lamp burned, flicker bridged."""
    threshold_uvi = threshold_of(pieces)
    bright = lit_pieces(pieces, threshold_uvi) & (pieces.uvi_start + pieces.uvi_end >= 2 * threshold_uvi)
    at = np.flatnonzero(bright)
    if len(at) == 0:
        return []
    breaks = np.flatnonzero(pieces.start_ms[at[1:]] - pieces.end_ms[at[:-1]] > _FLICKER_MS)
    begins = [int(at[0]), *at[breaks + 1].tolist()]
    ends = [*(at[breaks] + 1).tolist(), int(at[-1]) + 1]
    return list(zip(begins, ends, strict=True))


def _length_ms(pieces: Segments, begin: int, end: int) -> int:
    """Return how much of a stretch was seen."""
    return int((pieces.end_ms[begin:end] - pieces.start_ms[begin:end]).sum())


def _level(pieces: Segments, spells: list[tuple[int, int]]) -> tuple[float | None, float | None]:
    """Return the median of the settled light and of its standard uncertainty."""
    settled = np.zeros(len(pieces.start_ms), np.bool_)
    for begin, end in spells:
        warm_ms = pieces.start_ms[begin] + _WARM_UP_MS
        settled[begin:end] = pieces.start_ms[begin:end] >= warm_ms
    settled &= (pieces.flags & np.uint32(_UNLIKE)) == 0
    hours = float((pieces.end_ms - pieces.start_ms)[settled].sum()) / HOUR_MS
    if hours < _LEAST_SETTLED_HOURS:
        return None, None
    middle_uvi = (pieces.uvi_start + pieces.uvi_end)[settled] / 2
    middle_u = (pieces.u_start + pieces.u_end)[settled] / 2
    return float(np.median(middle_uvi)), float(np.median(middle_u))


def _ramp_minutes(pieces: Segments, begin: int, level_uvi: float) -> float | None:
    """Return how long after first light the lamp was up to strength; None if it was not that day."""
    up = np.flatnonzero(pieces.uvi_end[begin:] >= _UP_PART * level_uvi)
    if len(up) == 0:
        return None
    return float(pieces.end_ms[begin + up[0]] - pieces.start_ms[begin]) / 60_000
