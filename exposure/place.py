"""Where a spot's UVI stands against its band, in one word."""

import math
from enum import StrEnum

from calibrate.samples import AT_LEAST, VALUELESS, Flag
from exposure.bands import Band

# What is printed with one decimal as 0.0 is dark to a keeper.
_LEAST_LIT_UVI = 0.05


class Place(StrEnum):
    """Where a spot's UVI stands against its band."""

    IN_BAND = "in_band"
    UNDER_BAND = "under_band"
    ABOVE_BAND = "above_band"  # over the band, under the ceiling
    OVER_CEILING = "over_ceiling"
    DARK = "dark"  # the lamp is off
    UNKNOWN = "unknown"  # no value that can be trusted


def place_of(uvi: float, u_uvi: float, flags: Flag, band: Band) -> Place:
    """Return the place of one sample by its best estimate.

    A value that is only a lower bound (saturated, beyond the calibrated range) can show only that it is over
    the ceiling; below that its place is unknown.
    """
    if flags & VALUELESS or math.isnan(uvi):
        return Place.UNKNOWN
    if uvi > band.ceiling_uvi:
        return Place.OVER_CEILING
    if flags & AT_LEAST:
        return Place.UNKNOWN
    if uvi < max(_LEAST_LIT_UVI, 2 * u_uvi):
        return Place.DARK
    if uvi < band.low_uvi:
        return Place.UNDER_BAND
    return Place.IN_BAND if uvi <= band.high_uvi else Place.ABOVE_BAND
