"""A day's samples thinned to what an eye can see, with gaps left open and doubt left visible."""

from dataclasses import dataclass

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from calibrate.samples import VALUELESS, Samples


@dataclass(frozen=True, slots=True)
class Trace:
    """One point a bin that holds a value; arrays of one length.

    `utc_ms` middle of the bin's samples; `uvi` their mean; `lower_uvi` and `upper_uvi` the mean ± 2 standard
    uncertainties (k = 2, about 95 %), not below zero; `doubtful` where any sample in the bin carries a flag;
    `segment` counts up at each gap, so that no line is drawn across one.
    """

    utc_ms: IntArray
    uvi: FloatArray
    lower_uvi: FloatArray
    upper_uvi: FloatArray
    doubtful: np.ndarray[tuple[int], np.dtype[np.bool_]]
    segment: IntArray

    def __len__(self) -> int:
        return len(self.utc_ms)


def trace(samples: Samples, *, bin_ms: int, max_gap_ms: int) -> Trace:
    """Thin `samples` to one point a bin of `bin_ms` milliseconds; silence longer than `max_gap_ms` is a gap.

    The uncertainty of a mean is not divided by √n: most of it (curve, reference meter) is common to all.
    """
    valued = (samples.flags & np.uint32(VALUELESS)) == 0
    utc_ms, uvi, u_uvi = samples.utc_ms[valued], samples.uvi[valued], samples.u_uvi[valued]
    if len(utc_ms) == 0:
        empty = np.empty(0)
        none = np.empty(0, np.int64)
        return Trace(none, empty, empty, empty, np.empty(0, bool), none)
    starts = np.flatnonzero(np.diff(utc_ms // bin_ms, prepend=-1))
    count = np.diff(starts, append=len(utc_ms))
    mean_ms = np.add.reduceat(utc_ms - utc_ms[0], starts) // count + utc_ms[0]
    mean_uvi = np.add.reduceat(uvi, starts) / count
    doubt_uvi = 2 * np.add.reduceat(u_uvi, starts) / count
    doubtful = np.logical_or.reduceat(samples.flags[valued] != 0, starts)
    gap_before = np.diff(utc_ms, prepend=utc_ms[0]) > max_gap_ms
    segment = np.cumsum(np.logical_or.reduceat(gap_before, starts))
    return Trace(
        mean_ms, mean_uvi, np.maximum(mean_uvi - doubt_uvi, 0), mean_uvi + doubt_uvi, doubtful, segment
    )
