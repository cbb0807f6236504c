"""A quantity along an axis, with round ticks."""

import math
from dataclasses import dataclass
from typing import Final

# A few ticks more than asked for are better than half as many.
_STEP_SLACK: Final = 0.8


@dataclass(frozen=True, slots=True)
class Scale:
    """A quantity from `low` at `bottom_px` to `high` at `top_px`; pixels grow downwards."""

    low: float
    high: float
    bottom_px: float
    top_px: float

    def px(self, value: float) -> float:
        """Return where a value stands."""
        return self.bottom_px + (value - self.low) / (self.high - self.low) * (self.top_px - self.bottom_px)

    def ticks(self, about: int) -> list[tuple[float, str]]:
        """Return the multiples of 1, 2 or 5 times a power of ten on the scale, about so many, with words."""
        rough = (self.high - self.low) / about
        power = math.floor(math.log10(rough))
        factor = next((each for each in (1, 2, 5) if each * 10.0**power >= rough * _STEP_SLACK), 10)
        step, digits = factor * 10.0**power, max(0, -power - (factor == 10))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [(number * step, _number(number * step, digits)) for number in range(first, last + 1)]


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace("-", "−")
