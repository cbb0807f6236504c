"""A trend that outliers do not move: the median of all slopes, with its interval."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from calibrate.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line y = y_mid + slope · (x - x_mid), and the interval of its slope.

    `low` ≤ `slope` ≤ `high`; `x_mid`, `y_mid` are the medians, about which the line turns with the slope.
    """

    slope: float
    low: float
    high: float
    x_mid: float
    y_mid: float

    def at(self, x: float) -> float:
        """Return the line's y at x."""
        return self.y_mid + self.slope * (x - self.x_mid)


def theil_sen(x: FloatArray, y: FloatArray, confidence: float = 0.95, widening: float = 1.0) -> Trend:
    """Return the Theil-Sen trend of at least 5 points whose x are not all the same.

    Parameters
    ----------
    x, y
        The points.
    confidence
        Of the interval.
    widening
        By which the interval's reach is stretched: 1 for independent errors, `widening_for` otherwise.

    Notes
    -----
    The slope is the median of the slopes between all pairs with different x.  Its interval comes from the
    normal approximation of Kendall's score, with the correction for ties.

    References
    ----------
    H. Theil 1950, Proc. Kon. Ned. Akad. Wet. 53; P.K. Sen 1968, J. Am. Stat. Assoc. 63:1379-1389.
    """
    n = len(x)
    first, second = np.triu_indices(n, 1)
    run = x[second] - x[first]
    apart = run != 0
    slopes = np.sort((y[second] - y[first])[apart] / run[apart])
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    variance = (n * (n - 1) * (2 * n + 5) - _tie_term(x) - _tie_term(y)) / 18
    reach = widening * z * math.sqrt(variance)
    lower = max(round((len(slopes) - reach) / 2) - 1, 0)
    upper = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return Trend(
        slope=float(np.median(slopes)),
        low=float(slopes[lower]),
        high=float(slopes[upper]),
        x_mid=float(np.median(x)),
        y_mid=float(np.median(y)),
    )


def widening_for(residuals: FloatArray) -> float:
    """Return how much wider an interval must be for errors that resemble their neighbours.

    √((1 + ρ) / (1 - ρ)) with ρ the correlation of each residual with the next, between 0 and 0.8: the
    effective number of points of a first-order autoregressive series (S. Yue & C. Wang 2004, Water Resources
    Management 18:201-218, from memory, unverified).
    """
    centred = residuals - residuals.mean()
    power = float((centred**2).sum())
    if power == 0:
        return 1.0
    rho = min(max(float((centred[1:] * centred[:-1]).sum()) / power, 0.0), 0.8)
    return math.sqrt((1 + rho) / (1 - rho))


def _tie_term(values: FloatArray) -> int:
    counts = np.unique(values, return_counts=True)[1]
    return int((counts * (counts - 1) * (2 * counts + 5)).sum())
