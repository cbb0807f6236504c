"""Samples as straight pieces of line: what was seen between two samples close enough to each other."""

from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FlagArray, FloatArray, IntArray
from calibrate.samples import VALUELESS, Samples

BoolArray: TypeAlias = NDArray[np.bool_]
_Number = TypeVar("_Number", np.int64, np.float64)

# Two readings in a row may be lost (a busy bus, a reset) before a line between what is left is a guess.
_CADENCES_BRIDGED = 3.5
# A fast board's single hiccup of a few seconds hides nothing that a lamp could do.
_LEAST_GAP_S = 10.0
# A lamp can go off and come back within minutes: over more than five, a line would be invented.
_GREATEST_GAP_S = 300.0


def default_max_gap_s(cadence_s: float) -> float:
    """Return how far apart samples may be and still count as seen in between.

    Three and a half cadences, but not under 10 s nor over 300 s.  With readings every 10 s that is 35 s.
    """
    return min(max(_CADENCES_BRIDGED * cadence_s, _LEAST_GAP_S), _GREATEST_GAP_S)


def cadence_s(samples: Samples) -> float:
    """Return the usual time between samples: the median spacing; NaN with fewer than two samples.

    Of a long series about a thousand spacings, spread evenly, are looked at: enough for a median.
    """
    return cadence_of_s(np.diff(samples.utc_ms))


def cadence_of_s(spacing_ms: IntArray | NDArray[np.int32]) -> float:
    """Return `cadence_s` from the times between a series' samples (n,) [ms]."""
    n = len(spacing_ms)
    if n < 1:
        return float("nan")
    looked_at = np.sort(spacing_ms[:: max(1, n // 1000)])
    return float(looked_at[len(looked_at) // 2]) / 1000


def valued(samples: Samples) -> Samples:
    """Return the samples that have a value."""
    good = (samples.flags & np.uint32(VALUELESS)) == 0
    good &= np.isfinite(samples.uvi + samples.u_uvi)
    if good.all():
        return samples
    return Samples(samples.utc_ms[good], samples.uvi[good], samples.u_uvi[good], samples.flags[good])


@dataclass(frozen=True, slots=True)
class Segments:
    """Straight pieces of the UVI over time, in order; arrays of one length, clipped to an interval.

    `start_ms` and `end_ms` int64 UTC; `uvi_start`, `uvi_end` dimensionless; `u_start`, `u_end` their standard
    uncertainties; `flags` those of both ends together.
    """

    start_ms: IntArray
    end_ms: IntArray
    uvi_start: FloatArray
    uvi_end: FloatArray
    u_start: FloatArray
    u_end: FloatArray
    flags: FlagArray

    @property
    def seconds(self) -> FloatArray:
        """How long each piece lasts."""
        return np.asarray((self.end_ms - self.start_ms) * 0.001)

    def __len__(self) -> int:
        return len(self.start_ms)

    def some(self, part: slice) -> "Segments":
        """Return some of the pieces."""
        return Segments(*(getattr(self, name)[part] for name in self.__slots__))

    def followed_by(self, other: "Segments") -> "Segments":
        """Return these pieces and `other`, which come after them."""
        return Segments(
            *(np.concatenate([getattr(self, name), getattr(other, name)]) for name in self.__slots__)
        )


class Cutter:
    """Cuts `segments` out of samples that come in parts, in order of time: together those of the whole."""

    def __init__(self, start_ms: int, end_ms: int, max_gap_s: float) -> None:
        self._start_ms, self._end_ms, self._max_gap_s = start_ms, end_ms, max_gap_s
        self._last: Samples | None = None

    def cut(self, samples: Samples) -> Segments:
        """Return the pieces that end at a sample of this part."""
        good = valued(samples)
        whole = good if self._last is None else _chained(self._last, good)
        if len(good):
            end = slice(len(good) - 1, len(good))
            self._last = Samples(
                good.utc_ms[end].copy(), good.uvi[end].copy(), good.u_uvi[end].copy(), good.flags[end].copy()
            )
        return segments(whole, self._start_ms, self._end_ms, self._max_gap_s)


def _chained(first: Samples, second: Samples) -> Samples:
    return Samples(
        np.concatenate([first.utc_ms, second.utc_ms]),
        np.concatenate([first.uvi, second.uvi]),
        np.concatenate([first.u_uvi, second.u_uvi]),
        np.concatenate([first.flags, second.flags]),
    )


def segments(samples: Samples, start_ms: int, end_ms: int, max_gap_s: float) -> Segments:
    """Return what `samples` show of the interval from `start_ms` to `end_ms`.

    A piece joins two neighbouring samples with values that are at most `max_gap_s` apart.  Over anything
    longer nothing was seen, and there is no piece: missing is missing, not zero.  Pieces that reach over a
    bound are cut there, on the line; hand in one sample on each side to see the interval's edges.
    """
    reach_ms = round(max_gap_s * 1000)
    near = slice(
        int(np.searchsorted(samples.utc_ms, start_ms - reach_ms)),
        int(np.searchsorted(samples.utc_ms, end_ms + reach_ms, "right")),
    )
    good = valued(Samples(samples.utc_ms[near], samples.uvi[near], samples.u_uvi[near], samples.flags[near]))
    from_ms, to_ms = good.utc_ms[:-1], good.utc_ms[1:]
    keep = (to_ms - from_ms <= reach_ms) & (to_ms > start_ms) & (from_ms < end_ms)
    kept: slice | BoolArray = slice(None) if keep.all() else keep
    pieces = Segments(
        from_ms[kept],
        to_ms[kept],
        good.uvi[:-1][kept],
        good.uvi[1:][kept],
        good.u_uvi[:-1][kept],
        good.u_uvi[1:][kept],
        (good.flags[:-1] | good.flags[1:])[kept],
    )
    return _clipped(pieces, start_ms, end_ms)


def _clipped(pieces: Segments, start_ms: int, end_ms: int) -> Segments:
    """Return the pieces with the first and the last cut at the bounds; only what changes is copied."""
    if len(pieces.start_ms) == 0:
        return pieces
    begins, ends = int(pieces.start_ms[0]), int(pieces.end_ms[0])
    if begins < start_ms:
        along = (start_ms - begins) / (ends - begins)
        pieces = replace(
            pieces,
            start_ms=_with(pieces.start_ms, 0, start_ms),
            uvi_start=_with(pieces.uvi_start, 0, _between(pieces.uvi_start[0], pieces.uvi_end[0], along)),
            u_start=_with(pieces.u_start, 0, _between(pieces.u_start[0], pieces.u_end[0], along)),
        )
    begins, ends = int(pieces.start_ms[-1]), int(pieces.end_ms[-1])
    if ends > end_ms:
        along = (end_ms - begins) / (ends - begins)
        pieces = replace(
            pieces,
            end_ms=_with(pieces.end_ms, -1, end_ms),
            uvi_end=_with(pieces.uvi_end, -1, _between(pieces.uvi_start[-1], pieces.uvi_end[-1], along)),
            u_end=_with(pieces.u_end, -1, _between(pieces.u_start[-1], pieces.u_end[-1], along)),
        )
    return pieces


def _between(a: float, b: float, along: float) -> float:
    return a + along * (b - a)


def _with(array: NDArray[_Number], index: int, value: float) -> NDArray[_Number]:
    changed = array.copy()
    changed[index] = value
    return changed
