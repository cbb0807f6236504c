"""When a spot was lit, and how long its UVI was over each limit of its band meanwhile."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FloatArray
from exposure.bands import Band
from exposure.normal import normal_cdf
from exposure.segments import BoolArray, Segments

# What is printed with one decimal as 0.0 is dark to a keeper, however good the sensor.
_LEAST_LIT_UVI = 0.05
# Light is what lasts: noise does not stay over two of its standard deviations for a minute...
_LEAST_LIT_MS = 60_000
_LEAST_LIT_PIECES = 2
# Cut out of a longer run, at least so much is seen of it, and both neighbours of each piece.
_AROUND_MS = 2 * _LEAST_LIT_MS
_PIECES_AROUND = _LEAST_LIT_PIECES + 2
# ...or what is strong: nor does it ever reach ten.
_STRONG = 5.0
# Arrays of this length stay in the processor's cache and under malloc's threshold for fresh pages.
_BLOCK = 8192


@dataclass(frozen=True, slots=True)
class Light:
    """Hours of light and hours over each limit; `first_ms` and `last_ms` are None where none was seen.

    `over_…` in hours by the best estimate, `likely_over_…` weighted by the probability that the true UVI
    was over the limit.  `uvi_h` and `u_uvi_h` are the dose of the lit time [UVI·h].
    """

    threshold_uvi: float
    first_ms: int | None
    last_ms: int | None
    lit_hours: float
    uvi_h: float
    u_uvi_h: float
    over_low: float
    over_high: float
    over_ceiling: float
    likely_over_low: float
    likely_over_high: float
    likely_over_ceiling: float


class LightSeen:
    """Adds up the light of a day, of which there is at least one piece.

    `profile.day_profile` says what lit means.
    """

    def __init__(self, band: Band, threshold_uvi: float) -> None:
        self._band = band
        self._threshold_uvi = threshold_uvi
        self._sums = np.zeros(9)
        self._first_ms: int | None = None
        self._last_ms: int | None = None

    def add(self, pieces: Segments, lit: BoolArray) -> None:
        """Take in pieces, later than those before, and which of them are lit."""
        at = np.flatnonzero(lit)
        for begin in range(0, len(at), _BLOCK):
            self._sums += _sums(pieces, at[begin : begin + _BLOCK], self._band, self._threshold_uvi)
        bright = at[np.maximum(pieces.uvi_start[at], pieces.uvi_end[at]) >= self._threshold_uvi]
        if len(bright):
            if self._first_ms is None:
                self._first_ms = _dawn_ms(pieces, int(bright[0]), self._threshold_uvi)
            self._last_ms = _dusk_ms(pieces, int(bright[-1]), self._threshold_uvi)

    @property
    def light(self) -> Light:
        """What was seen."""
        ends = (self._first_ms, self._last_ms) if self._sums[0] > 0 else (None, None)
        return Light(self._threshold_uvi, *ends, *(float(total) for total in self._sums))


def threshold_of(pieces: Segments) -> float:
    """Return the UVI that divides light from dark: what prints as 0.0, or what noise explains."""
    dark_level_u = float(min(pieces.u_start.min(), pieces.u_end.min()))
    return max(_LEAST_LIT_UVI, 2 * dark_level_u)


def _sums(pieces: Segments, at: NDArray[np.intp], band: Band, threshold_uvi: float) -> FloatArray:
    """Return the sums of `Light`, from `lit_hours` on, over the pieces at the indices `at`.

    A straight line from a to b spends the part (b - L) / (b - a) of its time over L: no sampling error.
    """
    start, end = pieces.uvi_start[at], pieces.uvi_end[at]
    lowest, highest = np.minimum(start, end), np.maximum(start, end)
    span = np.maximum(highest - lowest, 1e-12)
    hours = (pieces.end_ms[at] - pieces.start_ms[at]) / 3_600_000

    lit_part = np.where(lowest >= threshold_uvi, 1.0, np.clip((highest - threshold_uvi) / span, 0, 1))
    lit_hours = hours * lit_part
    middle = (highest + np.maximum(lowest, threshold_uvi)) / 2
    middle_u = np.maximum((pieces.u_start[at] + pieces.u_end[at]) / 2, 1e-12)

    over_low = np.where(lowest >= band.low_uvi, 1.0, np.clip((highest - band.low_uvi) / span, 0, 1))
    likely = [
        (lit_hours * normal_cdf((middle - limit) / middle_u)).sum()
        for limit in (band.low_uvi, band.high_uvi, band.ceiling_uvi)
    ]
    return np.array(
        [
            lit_hours.sum(),
            (lit_hours * middle).sum(),
            (lit_hours * middle_u).sum(),
            (hours * np.minimum(over_low, lit_part)).sum(),  # dark time is never in the band
            (hours * np.clip((highest - band.high_uvi) / span, 0, 1)).sum(),
            (hours * np.clip((highest - band.ceiling_uvi) / span, 0, 1)).sum(),
            *likely,
        ]
    )


def lit_pieces(pieces: Segments, threshold_uvi: float) -> BoolArray:
    """Return which pieces belong to light, with those that lead into and out of it."""
    over = (pieces.uvi_start >= threshold_uvi) & (pieces.uvi_end >= threshold_uvi)
    joined = pieces.start_ms[1:] == pieces.end_ms[:-1]
    first = np.flatnonzero(np.concatenate([[True], (over[1:] != over[:-1]) | ~joined]))
    last = np.append(first[1:], len(over)) - 1
    lasting = (
        over[first]
        & (last - first + 1 >= _LEAST_LIT_PIECES)
        & (pieces.end_ms[last] - pieces.start_ms[first] >= _LEAST_LIT_MS)
    )
    bright = np.repeat(lasting, last - first + 1)
    bright |= (pieces.uvi_start >= _STRONG * threshold_uvi) | (pieces.uvi_end >= _STRONG * threshold_uvi)
    lit = bright.copy()
    lit[1:] |= bright[:-1] & joined
    lit[:-1] |= bright[1:] & joined
    return lit


class LitStream:
    """Tells which pieces are lit, as `lit_pieces` does of a whole day, of pieces that come in parts."""

    def __init__(self, threshold_uvi: float) -> None:
        self._threshold_uvi = threshold_uvi
        self._held: Segments | None = None
        self._n_told = 0  # so many of those held are there for the others' sake

    def add(self, pieces: Segments) -> tuple[Segments, BoolArray]:
        """Take in pieces later than those before; return those of which it is sure, each once, in order."""
        known = pieces if self._held is None else self._held.followed_by(pieces)
        lit = _lit_or_none(known, self._threshold_uvi)
        begin, end = self._n_told, len(known)
        if end:
            # What lasts is known to last by so much of it, wherever the part was cut.
            sure = int(np.searchsorted(known.end_ms, known.end_ms[-1] - _AROUND_MS, "right"))
            end = max(begin, min(sure, end - _PIECES_AROUND))
        first_held = 0
        if end:
            first_held = int(np.searchsorted(known.start_ms, known.start_ms[end - 1] - _AROUND_MS))
            first_held = max(0, first_held - _PIECES_AROUND)
        self._held, self._n_told = known.some(slice(first_held, None)), end - first_held
        return known.some(slice(begin, end)), lit[begin:end]

    def finish(self) -> tuple[Segments, BoolArray]:
        """Return the pieces that have not been returned: no more come.  After at least one `add`."""
        assert self._held is not None
        rest = slice(self._n_told, None)
        return self._held.some(rest), _lit_or_none(self._held, self._threshold_uvi)[rest]


def _lit_or_none(pieces: Segments, threshold_uvi: float) -> BoolArray:
    return lit_pieces(pieces, threshold_uvi) if len(pieces) else np.zeros(0, np.bool_)


def _dawn_ms(pieces: Segments, first: int, threshold_uvi: float) -> int:
    """Return when the first piece that has light crosses the threshold."""
    dawn = _dark_part(float(pieces.uvi_start[first]), float(pieces.uvi_end[first]), threshold_uvi)
    start_ms, end_ms = int(pieces.start_ms[first]), int(pieces.end_ms[first])
    return round(start_ms + dawn * (end_ms - start_ms))


def _dusk_ms(pieces: Segments, last: int, threshold_uvi: float) -> int:
    """Return when the last piece that has light crosses the threshold."""
    dusk = _dark_part(float(pieces.uvi_end[last]), float(pieces.uvi_start[last]), threshold_uvi)
    start_ms, end_ms = int(pieces.start_ms[last]), int(pieces.end_ms[last])
    return round(end_ms - dusk * (end_ms - start_ms))


def _dark_part(outer_uvi: float, inner_uvi: float, threshold_uvi: float) -> float:
    """Return which part of a piece that leads from `outer_uvi` to `inner_uvi` lies under the threshold."""
    if outer_uvi >= threshold_uvi:
        return 0.0
    return (threshold_uvi - outer_uvi) / (inner_uvi - outer_uvi)
