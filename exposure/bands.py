"""The UVI range wanted at a spot, and the ceiling over it."""

import math
from dataclasses import dataclass

from calibrate.errors import KeeperError

# The strongest suns measured reach about 20: a larger limit is a slip of the decimal point.
_HIGHEST_UVI = 20.0


class BandError(KeeperError):
    """A band that cannot be meant."""


@dataclass(frozen=True, slots=True)
class Band:
    """The UVI wanted at a spot: `low_uvi` to `high_uvi` inclusive, and `ceiling_uvi`, never to be passed."""

    low_uvi: float
    high_uvi: float
    ceiling_uvi: float

    def __post_init__(self) -> None:
        named = {"low": self.low_uvi, "high": self.high_uvi, "ceiling": self.ceiling_uvi}
        for name, uvi in named.items():
            if not math.isfinite(uvi) or not 0 <= uvi <= _HIGHEST_UVI:
                raise BandError(
                    f"{name} is {uvi:g}",
                    where="band",
                    remedy=f"Give a UVI between 0 and {_HIGHEST_UVI:g}, for example low 1.1, high 3.0",
                )
        if self.low_uvi >= self.high_uvi:
            raise BandError(
                f"low ({self.low_uvi:g}) is not below high ({self.high_uvi:g})",
                where="band",
                remedy="Give the smaller number as low",
            )
        if self.ceiling_uvi < self.high_uvi:
            raise BandError(
                f"the ceiling ({self.ceiling_uvi:g}) is below high ({self.high_uvi:g})",
                where="band",
                remedy="Raise the ceiling or lower high: a wanted UVI must be an allowed one",
            )
