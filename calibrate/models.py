"""Models: the shapes that a conversion from dark-subtracted channels to UVI can take.

A model knows no uncertainty and no range; it gives its value and its derivatives, and the conversion
propagates through these.  A new shape is a new class here and its table in `calibrate.model_tables`.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar, NamedTuple, Protocol

import numpy as np

from calibrate.arrays import FloatArray


class Evaluated(NamedTuple):
    """A model at n places.

    `uvi` (n,); `by_net` (channels, n), the derivative by each dark-subtracted channel; `by_shape`
    (shape parameters, n), the derivative by each shape parameter in the order of `shape_names`.
    """

    uvi: FloatArray
    by_net: FloatArray
    by_shape: FloatArray


class Model(Protocol):
    """What a conversion needs of a model.  `dark` runs in parallel to `channels`.

    All parameters, in the order that covariances use: the dark level of each channel (`dark.<channel>`),
    then the shape parameters.
    """

    @property
    def kind(self) -> str:
        """The key of this shape in a calibration file."""
        ...

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that it reads."""
        ...

    @property
    def dark(self) -> tuple[float, ...]:
        """What each channel reads with no UV on the sensor, in the channel's own unit."""
        ...

    @property
    def shape_names(self) -> tuple[str, ...]:
        """Names of the parameters after the dark levels."""
        ...

    @property
    def shape(self) -> tuple[float, ...]:
        """Values of the parameters after the dark levels."""
        ...

    def evaluate(self, net: FloatArray) -> Evaluated:
        """Return value and derivatives at dark-subtracted channels `net` (channels, n)."""
        ...


def parameter_names(model: Model) -> tuple[str, ...]:
    """Return the names of all parameters of a model in the order that covariances use."""
    return tuple(f"dark.{channel}" for channel in model.channels) + model.shape_names


@dataclass(frozen=True, slots=True)
class LineModel:
    """UVI = intercept + Σ slope_i · (channel_i − dark_i).

    `slope` in UVI per unit of its channel.  `intercept` None means a line through zero at dark, which is
    then no parameter at all.
    """

    channels: tuple[str, ...]
    dark: tuple[float, ...]
    slope: tuple[float, ...]
    intercept: float | None = None

    kind: ClassVar[str] = "line"

    def __post_init__(self) -> None:
        if not (0 < len(self.channels) == len(self.dark) == len(self.slope)):
            raise ValueError("a line needs one dark level and one slope for each channel")

    @property
    def shape_names(self) -> tuple[str, ...]:
        """`slope.<channel>` for each channel, then `intercept` if it has one."""
        slopes = tuple(f"slope.{channel}" for channel in self.channels)
        return slopes if self.intercept is None else (*slopes, "intercept")

    @property
    def shape(self) -> tuple[float, ...]:
        """The slopes, then the intercept if it has one."""
        return self.slope if self.intercept is None else (*self.slope, self.intercept)

    def evaluate(self, net: FloatArray) -> Evaluated:
        """Return value and derivatives at dark-subtracted channels `net` (channels, n)."""
        slope = np.asarray(self.slope)
        uvi = slope @ net
        by_shape = net
        if self.intercept is not None:
            uvi = uvi + self.intercept
            by_shape = np.concatenate((net, np.ones((1, net.shape[1]))))
        return Evaluated(uvi, np.broadcast_to(slope[:, np.newaxis], net.shape), by_shape)


@dataclass(frozen=True, slots=True)
class PowerModel:
    """UVI = scale · (channel − dark) ^ exponent.

    `straight_below` is a level above dark, under the lowest calibrated one, below which a straight line
    to zero stands in for the power, whose slope there would be none or without bound.  It is chosen, not
    fitted, so it is no parameter.
    """

    channels: tuple[str, ...]
    dark: tuple[float, ...]
    scale: float
    exponent: float
    straight_below: float

    kind: ClassVar[str] = "power"
    shape_names: ClassVar[tuple[str, ...]] = ("scale", "exponent")

    def __post_init__(self) -> None:
        if not len(self.channels) == len(self.dark) == 1:
            raise ValueError("a power law needs one channel with its dark level")
        if not (self.scale > 0 and self.exponent > 0 and self.straight_below > 0):
            raise ValueError("a power law needs scale, exponent and straight_below above 0")

    @property
    def shape(self) -> tuple[float, ...]:
        """Scale and exponent."""
        return self.scale, self.exponent

    def evaluate(self, net: FloatArray) -> Evaluated:
        """Return value and derivatives at dark-subtracted channels `net` (1, n)."""
        level = net[0]
        power_level = np.maximum(level, self.straight_below)
        power = self.scale * power_level**self.exponent
        straight = level < self.straight_below
        uvi = np.where(straight, power * (level / power_level), power)
        by_level = power / power_level * np.where(straight, 1.0, self.exponent)
        by_shape = np.stack((uvi / self.scale, uvi * np.log(power_level)))
        return Evaluated(uvi, by_level[np.newaxis], by_shape)


@dataclass(frozen=True, slots=True)
class CurveModel:
    """A smooth curve that never falls: a quadratic B-spline from zero at dark.

    `knots` (j) are levels above dark, rising; the first piece begins at dark.  `heights` (j + 1), in UVI,
    are the spline's coefficients after the first, which is 0; where they do not fall, neither does the
    curve.  Straight beyond the last knot and below dark.  UVI is linear in the heights.
    """

    channels: tuple[str, ...]
    dark: tuple[float, ...]
    knots: tuple[float, ...]
    heights: tuple[float, ...]

    kind: ClassVar[str] = "curve"

    def __post_init__(self) -> None:
        if not len(self.channels) == len(self.dark) == 1:
            raise ValueError("a curve needs one channel with its dark level")
        if len(self.heights) != len(self.knots) + 1 or not self.knots:
            raise ValueError("a curve needs one height more than knots")
        if not all(low < high for low, high in pairwise((0.0, *self.knots))):
            raise ValueError("the knots of a curve must rise from above 0")
        if not all(low <= high for low, high in pairwise((0.0, *self.heights))):
            raise ValueError("the heights of a curve must not fall, nor begin below 0")

    @property
    def shape_names(self) -> tuple[str, ...]:
        """`height.1`, `height.2`, …"""
        return tuple(f"height.{i}" for i in range(1, len(self.heights) + 1))

    @property
    def shape(self) -> tuple[float, ...]:
        """The heights."""
        return self.heights

    def evaluate(self, net: FloatArray) -> Evaluated:
        """Return value and derivatives at dark-subtracted channels `net` (1, n).

        Of a quadratic B-spline with its ends clamped, three basis functions reach into a piece.  With the
        piece's own width and those of its neighbours (0 beyond the ends), the outer two are squares of
        the distance to the far edge, and the three sum to 1.
        """
        edges = np.array((0.0, *self.knots))
        widths = np.concatenate(([0.0], np.diff(edges), [0.0]))
        level = net[0]
        inside = np.clip(level, 0.0, edges[-1])
        piece = np.clip(np.searchsorted(edges, inside, side="right") - 1, 0, len(edges) - 2)
        width = widths[piece + 1]
        to_right = (edges[piece + 1] - inside) / width
        to_left = (inside - edges[piece]) / width
        with_previous, with_next = width + widths[piece], width + widths[piece + 2]
        first, last = to_right**2 * width / with_previous, to_left**2 * width / with_next
        by_first, by_last = -2 * to_right / with_previous, 2 * to_left / with_next
        # Straight on outside the pieces.
        first, last = first + by_first * (level - inside), last + by_last * (level - inside)

        coefficients = np.array((0.0, *self.heights))
        reach = np.zeros((len(coefficients), len(level)))
        at = np.arange(len(level))
        reach[piece, at], reach[piece + 1, at], reach[piece + 2, at] = first, 1 - first - last, last
        c_first, c_middle, c_last = (coefficients[piece + i] for i in range(3))
        by_level = by_first * (c_first - c_middle) + by_last * (c_last - c_middle)
        return Evaluated(coefficients @ reach, by_level[np.newaxis], reach[1:])
