"""Models: the shapes that a conversion from dark-subtracted channels to UVI can take.

A model knows no uncertainty and no range; it gives its value and its derivatives, and the conversion
propagates through these.  A new shape is a new class here and its table in `calibrate.model_tables`.
"""

from dataclasses import dataclass
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
