"""Control charts of a spot's checks: Shewhart for a jump, EWMA for a slow drift.

Notes
-----
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individual measurements) and 6.3.2.4 (EWMA).
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from calibrate.arrays import FloatArray

BASELINE_CHECKS = 8
"""So many checks set centre and scatter; fewer would set them by chance."""

LIMIT_SIGMAS = 3.0
EWMA_WEIGHT = 0.3
RUN_LENGTH = 8
"""So many in a row on one side of the centre are a drift (Western Electric rule 4, from memory)."""

_MOVING_RANGE_TO_SIGMA = 1.128
"""Expected range of two normal values, in standard deviations (d2 for n = 2)."""


class Signal(StrEnum):
    """Why a check stands out."""

    BEYOND_LIMIT = "beyond the limit"
    DRIFT = "drift"
    RUN = "run on one side"


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A control chart of n checks, in time order.

    `low` and `high` are the limits of a single check; `ewma`, `ewma_low` and `ewma_high` (n,) the
    weighted mean up to each check and its limits, which open with time.  `signals` are (index, why).
    """

    values: FloatArray
    centre: float
    sigma: float
    ewma: FloatArray
    ewma_low: FloatArray
    ewma_high: FloatArray
    signals: tuple[tuple[int, Signal], ...]

    @property
    def low(self) -> float:
        """Lower limit of a single check."""
        return self.centre - LIMIT_SIGMAS * self.sigma

    @property
    def high(self) -> float:
        """Upper limit of a single check."""
        return self.centre + LIMIT_SIGMAS * self.sigma


def control_chart(values: FloatArray, *, centre: float, sigma: float) -> ControlChart:
    """Return the chart of values (n,) about a known centre with a known standard deviation above 0."""
    n = len(values)
    ewma = np.empty(n)
    mean = centre
    for i, value in enumerate(values.tolist()):
        mean = EWMA_WEIGHT * value + (1 - EWMA_WEIGHT) * mean
        ewma[i] = mean
    settled = EWMA_WEIGHT / (2 - EWMA_WEIGHT)
    opened = 1 - (1 - EWMA_WEIGHT) ** (2 * np.arange(1, n + 1))
    half_width = LIMIT_SIGMAS * sigma * np.sqrt(settled * opened)
    beyond = np.abs(values - centre) > LIMIT_SIGMAS * sigma
    drifting = np.abs(ewma - centre) > half_width
    signals = [(int(i), Signal.BEYOND_LIMIT) for i in np.flatnonzero(beyond)]
    signals += [(int(i), Signal.DRIFT) for i in np.flatnonzero(drifting)]
    signals += [(i, Signal.RUN) for i in _run_ends(np.sign(values - centre).tolist())]
    return ControlChart(
        values, centre, sigma, ewma, centre - half_width, centre + half_width, tuple(sorted(signals))
    )


def chart_of_checks(ratios: FloatArray, u_ratios: FloatArray) -> ControlChart:
    """Return the chart of a spot's checks: ratios reference over running value (n,), uncertainties (n,).

    From 8 checks on, the first 8 set centre and scatter (by moving ranges): a lasting offset is the
    business of E_n, and the chart looks for change.  Before, the centre is 1 and the scatter what the
    checks' uncertainties state.
    """
    if len(ratios) >= BASELINE_CHECKS:
        baseline = ratios[:BASELINE_CHECKS]
        sigma = sigma_of_moving_ranges(baseline)
        if sigma > 0:
            return control_chart(ratios, centre=float(baseline.mean()), sigma=sigma)
    stated = float(np.sqrt(np.mean(u_ratios**2))) if len(u_ratios) else 1.0
    return control_chart(ratios, centre=1.0, sigma=stated)


def sigma_of_moving_ranges(values: FloatArray) -> float:
    """Return the standard deviation of values (n,) by their moving ranges, which a drift hardly inflates."""
    return float(np.abs(np.diff(values)).mean()) / _MOVING_RANGE_TO_SIGMA


def _run_ends(sides: list[float]) -> list[int]:
    """Return where a run on one side is long enough; `sides` are -1, 0 or 1."""
    ends, length, side = [], 0, 0.0
    for i, now in enumerate(sides):
        length = 0 if now == 0 else length + 1 if now == side else 1
        side = now
        if length >= RUN_LENGTH:
            ends.append(i)
    return ends
