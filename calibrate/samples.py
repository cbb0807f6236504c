"""Samples: calibrated values at a spot, each with its uncertainty and what is wrong with it."""

from dataclasses import dataclass
from enum import IntFlag

import numpy as np

from calibrate.arrays import FlagArray, FloatArray, IntArray


class Flag(IntFlag):
    """What is known to be wrong with a sample.  No flag: inside everything that was calibrated."""

    UNCALIBRATED = 1  # no calibration, so no UVI: the value is NaN
    MISSING = 2  # a channel that the calibration needs was not reported: the value is NaN
    SATURATED = 4  # the sensor was at its rail: the true value may be higher
    BELOW_RANGE = 8  # under the lowest calibrated level
    ABOVE_RANGE = 16  # over the highest calibrated level: extrapolated
    NEGATIVE = 32  # below dark by more than noise explains
    TEMPERATURE = 64  # sensor outside the temperatures that were calibrated
    OTHER_LAMP_KIND = 128  # calibrated under another kind of lamp
    SENSOR_FAULT = 256  # the board says that the sensor did not answer properly
    CLOCK_UNSURE = 512  # the host's clock had not been set when this was stamped
    STALE_CALIBRATION = 1024  # the calibration is older than it says it may be


VALUELESS = Flag.UNCALIBRATED | Flag.MISSING | Flag.SENSOR_FAULT
"""Flags under which a sample has no value at all (NaN)."""

AT_LEAST = Flag.SATURATED | Flag.ABOVE_RANGE
"""Flags under which the true value may be higher than the one given."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Samples of one spot in time order: four arrays of one length.

    `utc_ms` int64, strictly increasing; `uvi` float64, dimensionless, NaN where there is no value;
    `u_uvi` float64, standard uncertainty (k = 1), NaN where `uvi` is; `flags` uint32 of `Flag` bits.
    """

    utc_ms: IntArray
    uvi: FloatArray
    u_uvi: FloatArray
    flags: FlagArray

    def __post_init__(self) -> None:
        sizes = {len(self.utc_ms), len(self.uvi), len(self.u_uvi), len(self.flags)}
        if len(sizes) != 1:
            raise ValueError(f"arrays of different lengths: {sorted(sizes)}")

    def __len__(self) -> int:
        return len(self.utc_ms)

    def between(self, start_ms: int, end_ms: int) -> "Samples":
        """Return the samples from `start_ms`, inclusive, to `end_ms`, exclusive."""
        part = slice(*(int(index) for index in np.searchsorted(self.utc_ms, [start_ms, end_ms])))
        return Samples(self.utc_ms[part], self.uvi[part], self.u_uvi[part], self.flags[part])
