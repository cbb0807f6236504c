"""Steps in a lamp's level from one day to the next, told from slow change."""

import math
from dataclasses import dataclass

import numpy as np

from calibrate.arrays import FloatArray

# A level on each side of a step stands on at least so many days: fewer may be a door left open.
_LEAST_DAYS = 5
# Under this relative change nobody would find its cause, and a day's temperature does as much.
_LEAST_RELATIVE = 0.04
# A step must stand out from the days' scatter by so many of its standard uncertainties.
_LEAST_SIGMAS = 4.0
# What a further break must save, in units of the scatter's variance times ln n: two parameters and a place.
_PENALTY = 4.0
# A day further than this from its neighbours' median is set to it before the search: so are three in a row,
# which is less than a step needs, and would else be taken for a step with one good day added.
_OUTLIER_SIGMAS = 4.0
_ODD_DAYS = 3
# Levels are not known to better than this, however still the series.
_LEAST_SCATTER = 0.002
# Neighbouring days that resemble each other more than this cannot be told from a trend anyway.
_GREATEST_RHO = 0.8
# So many days on each side measure a step: over more, a season would bend the lines.
_WINDOW_DAYS = 21


@dataclass(frozen=True, slots=True)
class Step:
    """A sudden change of level: between the points `index` - 1 and `index`, to `ratio` of what it was.

    `u_ratio` is its standard uncertainty from the days' scatter.
    """

    index: int
    ratio: float
    u_ratio: float


def find_steps(days: FloatArray, levels: FloatArray) -> tuple[Step, ...]:
    """Return the steps in a series of daily levels.

    Parameters
    ----------
    days
        Day numbers, increasing; days may be missing.
    levels
        Level of each day, above zero.

    Notes
    -----
    The logarithm of the level is cut into straight pieces so that the squared misfit plus a penalty for each
    cut is least, over all ways to cut it (dynamic programming).  A cut counts as a step only if the lines on
    both sides, of three weeks at most, miss each other there by more than `_LEAST_RELATIVE` and
    `_LEAST_SIGMAS`, and the medians of the days next to it show it too: where the lines meet the lamp merely
    ages faster or slower.  Up to three days out of line are set right beforehand.  The scatter is estimated
    from differences, which neither trend nor steps disturb much, and allows for days that resemble their
    neighbours.

    References
    ----------
    B. Jackson et al. 2005, IEEE Signal Processing Letters 12:105-108 (optimal partitioning; from memory,
    unverified).
    """
    n = len(levels)
    if n < 2 * _LEAST_DAYS:
        return ()
    y = np.log(levels)
    scatter = _scatter(y)
    y = _without_outliers(y, scatter)
    cuts = _cuts(days - days[0], y, _PENALTY * scatter**2 * math.log(n))
    while cuts:
        bounds = [0, *cuts, n]
        jumps = [_jump(days, y, bounds[i], bounds[i + 1], bounds[i + 2], scatter) for i in range(len(cuts))]
        sizes = [
            abs(jump) / max(_LEAST_RELATIVE, _LEAST_SIGMAS * u) if _by_medians(y, cut, jump) else 0.0
            for cut, (jump, u) in zip(cuts, jumps, strict=True)
        ]
        weakest = int(np.argmin(sizes))
        if sizes[weakest] >= 1:
            return tuple(
                Step(cut, math.exp(jump), math.exp(jump) * u)
                for cut, (jump, u) in zip(cuts, jumps, strict=True)
            )
        del cuts[weakest]
    return ()


def _scatter(y: FloatArray) -> float:
    """Return the standard deviation of a mean of days times √days, robustly.

    Second differences over a week show the whole scatter, first differences over a day only what neighbours
    do not share; from both follows the correlation of neighbours, and how much less a mean gains by it.
    """
    apart = max(1, min(7, len(y) // 10))
    bends = y[2 * apart :] - 2 * y[apart:-apart] + y[: -2 * apart]
    whole = max(_robust_deviation(bends) / math.sqrt(6), _LEAST_SCATTER)
    unshared = _robust_deviation(np.diff(y)) / math.sqrt(2)
    rho = 1 - (unshared / whole) ** 2 - 1.5 / math.sqrt(len(y))  # less what chance alone makes of it
    rho = min(max(rho, 0.0), _GREATEST_RHO)
    return whole * math.sqrt((1 + rho) / (1 - rho))


def _robust_deviation(values: FloatArray) -> float:
    """Return the standard deviation of normal values about zero, by the median of their sizes."""
    return 1.4826 * float(np.median(np.abs(values)))


def _without_outliers(y: FloatArray, scatter: float) -> FloatArray:
    """Return the series with single days far from their neighbours' median set to it."""
    padded = np.pad(y, _ODD_DAYS, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * _ODD_DAYS + 1), axis=1)
    return np.where(np.abs(y - middle) > _OUTLIER_SIGMAS * scatter, middle, y)


def _cuts(x: FloatArray, y: FloatArray, penalty: float) -> list[int]:
    """Return the indices before which to cut, for the least misfit to straight pieces plus penalties."""
    n = len(y)
    sums = [np.concatenate([[0.0], np.cumsum(part)]) for part in (np.ones(n), x, y, x * x, x * y, y * y)]
    best = np.full(n + 1, np.inf)
    best[0] = -penalty
    last = np.zeros(n + 1, np.int64)
    for end in range(_LEAST_DAYS, n + 1):
        starts = np.arange(0, end - _LEAST_DAYS + 1)
        count, sx, sy, sxx, sxy, syy = (part[end] - part[starts] for part in sums)
        spread = sxx - sx * sx / count
        along = sxy - sx * sy / count
        misfit = syy - sy * sy / count - along * along / spread
        total = best[starts] + misfit + penalty
        at = int(np.argmin(total))
        best[end], last[end] = total[at], starts[at]
    cuts: list[int] = []
    end = int(last[n])
    while end > 0:
        cuts.insert(0, end)
        end = int(last[end])
    return cuts


def _jump(
    days: FloatArray, y: FloatArray, begin: int, cut: int, end: int, scatter: float
) -> tuple[float, float]:
    """Return by how much the lines on both sides miss each other half-way, and its uncertainty."""
    at = (days[cut - 1] + days[cut]) / 2
    begin, end = max(begin, cut - _WINDOW_DAYS), min(end, cut + _WINDOW_DAYS)
    before, u_before = _line_at(days[begin:cut], y[begin:cut], at, scatter)
    after, u_after = _line_at(days[cut:end], y[cut:end], at, scatter)
    return after - before, math.hypot(u_before, u_after)


def _by_medians(y: FloatArray, cut: int, jump: float) -> bool:
    """Return whether the days next to a cut show at least half its jump too: a line bends to odd days."""
    after, before = y[cut : cut + _LEAST_DAYS], y[max(0, cut - _LEAST_DAYS) : cut]
    seen = float(np.median(after) - np.median(before))
    return seen * math.copysign(1.0, jump) >= abs(jump) / 2


def _line_at(x: FloatArray, y: FloatArray, at: float, scatter: float) -> tuple[float, float]:
    """Return the least-squares line's value at a place, and its uncertainty for the scatter given."""
    middle = x.mean()
    spread = float(((x - middle) ** 2).sum())
    slope = float(((x - middle) * y).sum()) / spread
    u = scatter * math.sqrt(1 / len(x) + (at - middle) ** 2 / spread)
    return float(y.mean()) + slope * (at - middle), u
