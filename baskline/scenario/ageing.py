"""What the invented room's lamps went through in the weeks before the demo's day.

All of it ends with that day's midnight: from there on each of these is exactly 1.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from exposure.counted_noise import wander_at

DAY_MS: Final = 86_400_000
WEEK_MS: Final = 7 * DAY_MS
_HALF_A_WEEK_MS: Final = WEEK_MS // 2


@dataclass(frozen=True, slots=True)
class Ageing:
    """A lamp that changed by `per_week`, up to its output at `until_ms`.

    `day_to_day` is the standard deviation of what a room's air, mains and seasons add to that.
    """

    until_ms: int
    per_week: float
    day_to_day: float = 0.01

    def multiplier(self, t_ms: IntArray, seed: int) -> FloatArray:
        """Return the output at each time over that at the end."""
        weeks = np.minimum(t_ms - self.until_ms, 0) / WEEK_MS
        days = wander_at(seed, "days", t_ms, DAY_MS) + wander_at(seed, "half weeks", t_ms, _HALF_A_WEEK_MS)
        uneven = 1 + self.day_to_day / math.sqrt(2) * days
        return np.where(weeks < 0, np.exp(math.log1p(self.per_week) * weeks) * uneven, 1.0)


@dataclass(frozen=True, slots=True)
class Renewal:
    """Another tube since `at_ms`: the one before gave `before` of its light.

    The new one began with an excess of `burn_in` that has gone down to a third after each `burn_in_ms`.
    """

    at_ms: int
    before: float
    burn_in: float
    burn_in_ms: int
    until_ms: int

    def multiplier(self, t_ms: IntArray, seed: int) -> FloatArray:  # noqa: ARG002 - nothing of it is by chance
        """Return the output at each time over that of the new tube once it is seasoned."""
        age_ms = np.maximum(t_ms - self.at_ms, 0)
        new = 1 + self.burn_in * np.exp(-age_ms / self.burn_in_ms)
        return np.where(t_ms < self.at_ms, self.before, np.where(t_ms < self.until_ms, new, 1.0))
