"""The shapes that a fit can try: how many parameters, where to begin, what they may be."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.models import CurveModel, LineModel, Model, PowerModel

_STRAIGHT_SHARE = 0.8
"""Where a power law gives way to a straight line, as a share of the lowest level of the points."""

COMPENSATING = ("comp", "vis", "ir", "als", "clear")
"""Channels whose name begins so see light that is not UV; their weight may have either sign.  All others
see UV, so that more of it cannot mean less UVI: their weight may not be negative."""


@dataclass(frozen=True, slots=True)
class Shape:
    """One shape to fit.

    The free parameters (p,) may differ from the model's own: the model's are `mixing` @ free.  `lower`
    and `upper` bound the free ones.  `build` makes the model from dark levels and the model's parameters.
    """

    name: str
    build: Callable[[tuple[float, ...], tuple[float, ...]], Model]
    start: FloatArray
    lower: FloatArray
    upper: FloatArray
    mixing: FloatArray

    def model(self, dark: FloatArray, free: FloatArray) -> Model:
        """Return the model at some parameters."""
        return self.build(tuple(dark.tolist()), tuple((self.mixing @ free).tolist()))


def may_be_negative(channel: str) -> bool:
    """Say whether the weight of a channel may be negative, by what it sees."""
    return channel.startswith(COMPENSATING)


def line_shape(
    channels: tuple[str, ...],
    net: FloatArray,
    uvi: FloatArray,
    *,
    intercept: bool,
    bounded: bool,
) -> Shape:
    """Return a line for dark-subtracted levels (n, k) and reference readings (n,).

    `bounded` keeps weights of UV channels from below zero.
    """
    n, k = net.shape
    design = np.column_stack((net, np.ones(n))) if intercept else net
    start = np.linalg.lstsq(design, uvi, rcond=None)[0]
    lower = np.full(len(start), -np.inf)
    if bounded:
        lower[:k] = [-np.inf if may_be_negative(channel) else 0.0 for channel in channels]

    def build(dark: tuple[float, ...], shape: tuple[float, ...]) -> LineModel:
        return LineModel(channels, dark, shape[:k], shape[k] if intercept else None)

    return Shape(
        "line" if intercept else "proportional",
        build,
        np.maximum(start, np.where(np.isfinite(lower), lower + 1e-12, lower)),
        lower,
        np.full(len(start), np.inf),
        np.eye(len(start)),
    )


def power_shape(channels: tuple[str, ...], net: FloatArray, uvi: FloatArray) -> Shape | None:
    """Return a power law; None if it cannot begin, for want of two points above dark."""
    seen = (net[:, 0] > 0) & (uvi > 0)
    if seen.sum() < 2 or len(np.unique(net[seen, 0])) < 2:
        return None
    exponent, log_scale = np.polyfit(np.log(net[seen, 0]), np.log(uvi[seen]), 1)
    straight_below = _STRAIGHT_SHARE * float(net[seen, 0].min())

    def build(dark: tuple[float, ...], shape: tuple[float, ...]) -> PowerModel:
        return PowerModel(channels, dark, shape[0], shape[1], straight_below)

    return Shape(
        "power",
        build,
        np.array([np.exp(log_scale), min(max(exponent, 0.2), 5.0)]),
        np.array([1e-300, 0.1]),
        np.array([np.inf, 10.0]),
        np.eye(2),
    )


def curve_shape(channels: tuple[str, ...], net: FloatArray, uvi: FloatArray, pieces: int) -> Shape | None:
    """Return a curve of so many pieces that never falls; None if the levels do not part into so many."""
    levels = np.unique(net[net[:, 0] > 0, 0])
    if len(levels) < pieces:
        return None
    knots = tuple(np.quantile(levels, np.arange(1, pieces + 1) / pieces).tolist())
    if not all(low < high for low, high in pairwise((0.0, *knots))):
        return None
    edges = np.array((0.0, *knots))
    # A coefficient acts about the average of two neighbouring knots.
    centres = np.concatenate(((edges[:-1] + edges[1:]) / 2, edges[-1:]))
    order = np.argsort(net[:, 0])
    heights = np.interp(centres, np.append(0.0, net[order, 0]), np.append(0.0, uvi[order]))
    rises = np.diff(np.append(0.0, np.maximum.accumulate(np.maximum(heights, 0.0))))

    def build(dark: tuple[float, ...], shape: tuple[float, ...]) -> CurveModel:
        return CurveModel(channels, dark, knots, shape)

    return Shape(
        f"curve of {pieces} pieces",
        build,
        rises + 1e-9 * float(uvi.max()),
        np.zeros(pieces + 1),
        np.full(pieces + 1, np.inf),
        np.tril(np.ones((pieces + 1, pieces + 1))),
    )


MODEL_NAMES: Mapping[str, str] = {
    "proportional": "a straight line through zero at dark",
    "line": "a straight line",
    "power": "a power law",
    "curve": "a smooth curve that never falls",
}
"""What can be asked for by name."""
