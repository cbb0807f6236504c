"""What one day's samples say of the lamp over a spot."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.samples import Flag, Samples
from exposure.days import HOUR_MS, DayBounds
from exposure.light import lit_pieces, threshold_of
from exposure.segments import BoolArray, Segments, cadence_s, default_max_gap_s, segments

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
    if len(pieces) == 0:
        return unseen_lamp_day(bounds)
    threshold_uvi = threshold_of(pieces)
    seen = LampSeen(bounds, threshold_uvi)
    seen.add(pieces, lit_pieces(pieces, threshold_uvi))
    return seen.day()


def unseen_lamp_day(bounds: DayBounds) -> LampDay:
    """Return the lamp's day where nothing was seen of it."""
    return LampDay(bounds.date, 0.0, 0.0, 0, None, None, None)


class LampSeen:
    """Gathers a lamp's day from pieces that come in parts, in order of time."""

    def __init__(self, bounds: DayBounds, threshold_uvi: float) -> None:
        self._bounds = bounds
        self._threshold_uvi = threshold_uvi
        self._seen_ms = self._on_ms = self._settled_ms = 0
        self._seen_to_ms: int | None = None
        self._burning: tuple[Segments, BoolArray] | None = None  # from the last bright piece on
        self._warm_ms = 0  # when the lamp that burns is settled
        self._settled_uvi: list[FloatArray] = []
        self._settled_u: list[FloatArray] = []
        self._switch_ons = 0
        self._first_on_ms = 0
        self._rise: list[tuple[float, int]] = []  # since the first switch-on: each highest UVI yet, and when

    def add(self, pieces: Segments, lit: BoolArray) -> None:
        """Take in pieces, later than those before, and which of them are lit."""
        if len(pieces) == 0:
            return
        self._seen_ms += _length_ms(pieces)
        self._note_rise(pieces)
        bright = lit & (pieces.uvi_start + pieces.uvi_end >= 2 * self._threshold_uvi)
        burned = self._burning is not None
        if self._burning is not None:
            pieces, bright = self._burning[0].followed_by(pieces), np.append(self._burning[1], bright)
        for begin, end in _spells(pieces, bright):
            if burned and begin == 0:  # goes on from a piece that has been counted
                self._burn(pieces.some(slice(1, end)))
            else:
                before_ms = int(pieces.end_ms[begin - 1]) if begin else self._seen_to_ms
                self._begin(pieces.some(slice(begin, None)), before_ms)
                self._burn(pieces.some(slice(begin, end)))
        self._seen_to_ms = int(pieces.end_ms[-1])
        at = np.flatnonzero(bright)
        self._burning = None
        if len(at) and pieces.end_ms[-1] - pieces.end_ms[at[-1]] <= _FLICKER_MS:
            self._burning = pieces.some(slice(int(at[-1]), None)), bright[at[-1] :]

    def _begin(self, pieces: Segments, before_ms: int | None) -> None:
        """Note that the lamp burns from the first of these pieces on; before it was seen up to then."""
        start_ms = int(pieces.start_ms[0])
        self._warm_ms = start_ms + _WARM_UP_MS
        if before_ms == start_ms:
            self._switch_ons += 1
            if self._switch_ons == 1:
                self._first_on_ms = start_ms
                self._note_rise(pieces)

    def _burn(self, pieces: Segments) -> None:
        """Count pieces over which the lamp burned."""
        self._on_ms += _length_ms(pieces)
        settled = (pieces.start_ms >= self._warm_ms) & ((pieces.flags & np.uint32(_UNLIKE)) == 0)
        self._settled_ms += int((pieces.end_ms - pieces.start_ms)[settled].sum())
        self._settled_uvi.append((pieces.uvi_start + pieces.uvi_end)[settled] / 2)
        self._settled_u.append((pieces.u_start + pieces.u_end)[settled] / 2)

    def _note_rise(self, pieces: Segments) -> None:
        if self._switch_ons == 0:
            return
        highest = self._rise[-1][0] if self._rise else -np.inf
        so_far = np.maximum.accumulate(pieces.uvi_end)
        higher = np.flatnonzero((pieces.uvi_end >= so_far) & (so_far > highest))
        first = np.flatnonzero(np.diff(so_far[higher], prepend=highest) > 0)
        at = higher[first]
        self._rise += zip(so_far[at].tolist(), pieces.end_ms[at].tolist(), strict=True)

    def day(self) -> LampDay:
        """Return the lamp's day once all has been taken in."""
        level_uvi = u_level_uvi = None
        if self._settled_ms / HOUR_MS >= _LEAST_SETTLED_HOURS:
            level_uvi = _median(self._settled_uvi)
            u_level_uvi = _median(self._settled_u)
        return LampDay(
            date=self._bounds.date,
            coverage=self._seen_ms / (self._bounds.end_ms - self._bounds.start_ms),
            hours_on=self._on_ms / HOUR_MS,
            switch_ons=self._switch_ons,
            level_uvi=level_uvi,
            u_level_uvi=u_level_uvi,
            ramp_minutes=self._ramp_minutes(level_uvi) if self._switch_ons and level_uvi else None,
        )

    def _ramp_minutes(self, level_uvi: float) -> float | None:
        """Return how long after first light the lamp was up to strength; None if it was not that day."""
        up_ms = next((at_ms for uvi, at_ms in self._rise if uvi >= _UP_PART * level_uvi), None)
        return None if up_ms is None else (up_ms - self._first_on_ms) / 60_000


def _spells(pieces: Segments, bright: BoolArray) -> list[tuple[int, int]]:
    """Return the bounds of the stretches of pieces over which the lamp burned, flicker bridged."""
    at = np.flatnonzero(bright)
    if len(at) == 0:
        return []
    breaks = np.flatnonzero(pieces.start_ms[at[1:]] - pieces.end_ms[at[:-1]] > _FLICKER_MS)
    begins = [int(at[0]), *at[breaks + 1].tolist()]
    ends = [*(at[breaks] + 1).tolist(), int(at[-1]) + 1]
    return list(zip(begins, ends, strict=True))


def _median(parts: list[FloatArray]) -> float:
    return float(np.median(np.concatenate(parts), overwrite_input=True))  # it may be a large part of a day


def _length_ms(pieces: Segments) -> int:
    """Return how much was seen."""
    return int((pieces.end_ms - pieces.start_ms).sum())
