"""How UVI changes with a lamp's distance: for a compact lamp, and for a tube.

Bare lamps in open air, on their axis, facing the spot.  A reflector, a mesh or a beam changes the shape close
up: measure at the new place, lamp warm, before an animal basks there.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from calibrate.errors import KeeperError

# Published comparisons of the tube formula with measured lamps differ by 3 to 5 %.
_TUBE_MODEL_RELATIVE_U = 0.05
# At five times its size a source is a point to within about 1 % (common practice, no source).
_POINT_FROM_SIZES = 5.0
# Beyond a factor of two of the measured distance the shape of a real lamp is no longer known well enough.
_FAR_FACTOR = 2.0


class PlacementError(KeeperError):
    """A distance, size or reading that cannot be meant."""


@dataclass(frozen=True, slots=True)
class CompactLamp:
    """A lamp small against its distance: UVI falls with the square of the distance from its origin.

    `virtual_origin_cm` is how far that origin, where the light seems to start, lies behind the point from
    which distances are measured (behind a reflector; 0 for a bare lamp); `size_cm` is the lamp's largest
    dimension.
    """

    size_cm: float
    virtual_origin_cm: float = 0.0

    def __post_init__(self) -> None:
        _positive("size", self.size_cm)
        if not (math.isfinite(self.virtual_origin_cm) and self.virtual_origin_cm >= 0):
            raise PlacementError(
                f"virtual origin is {self.virtual_origin_cm:g} cm", where="lamp", remedy="Give 0 or more"
            )


@dataclass(frozen=True, slots=True)
class TubeLamp:
    """A linear lamp of `length_cm` of glowing tube, bare; distances from its axis at its middle."""

    length_cm: float

    def __post_init__(self) -> None:
        _positive("length", self.length_cm)


Lamp: TypeAlias = CompactLamp | TubeLamp


@dataclass(frozen=True, slots=True)
class Estimate:
    """A UVI reckoned for another distance, its standard uncertainty, and what to beware of."""

    uvi: float
    u_uvi: float
    cautions: tuple[str, ...]


def tube_irradiance_w_m2(power_w: float, length_m: float, distance_m: float) -> float:
    """Return the irradiance of a bare tube on a sensor facing its middle.

    Parameters
    ----------
    power_w
        Radiant power of the tube, weighted or not [W].
    length_m, distance_m
        Length of the glowing tube and distance from its axis [m].

    Notes
    -----
    E = P / (2π² D L) · (2α + sin 2α) with tan α = L / (2D), α in radians: the tube as a line that glows as
    a matt surface does, in air.  Close up E falls as 1/D, far off as 1/D².

    References
    ----------
    H.A.E. Keitz 1971, Light Calculations and Measurements, 2nd ed., Macmillan (the formula read in papers
    that quote it).
    """
    _positive("power", power_w)
    _positive("length", length_m)
    _positive("distance", distance_m)
    alpha = math.atan(length_m / (2 * distance_m))
    return power_w / (2 * math.pi**2 * distance_m * length_m) * (2 * alpha + math.sin(2 * alpha))


def uvi_at(
    lamp: Lamp,
    *,
    measured_uvi: float,
    u_measured_uvi: float,
    measured_cm: float,
    distance_cm: float,
    u_cm: float = 0.5,
) -> Estimate:
    """Return the UVI to expect at `distance_cm` when `measured_uvi` was read at `measured_cm`.

    `u_cm` is the standard uncertainty of each distance [cm]: half a centimetre with a ruler.
    """
    _positive("measured UVI", measured_uvi)
    ratio = _strength(lamp, distance_cm) / _strength(lamp, measured_cm)
    uvi = measured_uvi * ratio
    relative_u = math.hypot(
        u_measured_uvi / measured_uvi,
        _steepness(lamp, measured_cm) * u_cm / measured_cm,
        _steepness(lamp, distance_cm) * u_cm / distance_cm,
        # the model's error grows with the step: none where nothing moves, all at a factor of two
        _TUBE_MODEL_RELATIVE_U * min(1.0, abs(math.log2(distance_cm / measured_cm))),
    )
    return Estimate(uvi, uvi * relative_u, _cautions(lamp, measured_cm, distance_cm))


def distance_for_cm(lamp: Lamp, *, measured_uvi: float, measured_cm: float, wanted_uvi: float) -> float:
    """Return the distance at which the wanted UVI is to be expected [cm]."""
    _positive("measured UVI", measured_uvi)
    _positive("wanted UVI", wanted_uvi)
    wanted = _strength(lamp, measured_cm) * wanted_uvi / measured_uvi
    if isinstance(lamp, CompactLamp):
        distance_cm = 1 / math.sqrt(wanted) - lamp.virtual_origin_cm
        if distance_cm <= 0:
            raise PlacementError(
                f"UVI {wanted_uvi:g} is not reached in front of this lamp",
                where="lamp",
                remedy="Take another lamp",
            )
        return distance_cm
    near_cm, far_cm = 1e-3, 1e6
    while far_cm / near_cm > 1 + 1e-12:  # the strength falls steadily with the distance
        middle_cm = math.sqrt(near_cm * far_cm)
        if _strength(lamp, middle_cm) > wanted:
            near_cm = middle_cm
        else:
            far_cm = middle_cm
    return math.sqrt(near_cm * far_cm)


def fit_virtual_origin(
    distances_cm: Sequence[float], readings_uvi: Sequence[float], *, size_cm: float
) -> tuple[CompactLamp, float]:
    """Fit a compact lamp to readings at three or more distances; return it with its worst relative misfit.

    Notes
    -----
    E = K / (d + d₀)² makes 1/√E a straight line in d that meets zero at -d₀.  Each reading is taken to be
    equally good in relative terms, so a point of 1/√E weighs as E.  A misfit over a few percent says that
    the lamp is no point at these distances.
    """
    d, e = np.asarray(distances_cm, float), np.asarray(readings_uvi, float)
    if len(d) != len(e) or len(np.unique(d)) < 3 or not (d > 0).all() or not (e > 0).all():
        raise PlacementError(
            "three readings above zero at three distances are needed",
            where="lamp",
            remedy="Measure again at three or more distances",
        )
    y, weight = 1 / np.sqrt(e), e
    d_mean, y_mean = (weight * d).sum() / weight.sum(), (weight * y).sum() / weight.sum()
    slope = (weight * (d - d_mean) * (y - y_mean)).sum() / (weight * (d - d_mean) ** 2).sum()
    if slope <= 0:
        raise PlacementError(
            "the readings do not fall with the distance", where="lamp", remedy="Check which reading is whose"
        )
    origin_cm = y_mean / slope - d_mean
    lamp = CompactLamp(size_cm, max(0.0, float(origin_cm)))
    expected = 1 / (slope * (d + lamp.virtual_origin_cm)) ** 2
    return lamp, float(np.abs(e / expected - 1).max())


def _strength(lamp: Lamp, distance_cm: float) -> float:
    """Return the UVI at a distance but for a factor that is the lamp's own."""
    _positive("distance", distance_cm)
    if isinstance(lamp, CompactLamp):
        return 1 / (distance_cm + lamp.virtual_origin_cm) ** 2
    return tube_irradiance_w_m2(1.0, lamp.length_cm, distance_cm)


def _steepness(lamp: Lamp, distance_cm: float) -> float:
    """Return -d ln E / d ln D: 1 close to a tube, 2 far from any lamp."""
    if isinstance(lamp, CompactLamp):
        return 2 * distance_cm / (distance_cm + lamp.virtual_origin_cm)
    alpha = math.atan(lamp.length_cm / (2 * distance_cm))
    return 1 + math.sin(2 * alpha) * (1 + math.cos(2 * alpha)) / (2 * alpha + math.sin(2 * alpha))


def _cautions(lamp: Lamp, measured_cm: float, distance_cm: float) -> tuple[str, ...]:
    cautions = [
        "measure there with a hand-held meter, lamp warm for 30 minutes, before the animal basks there"
    ]
    if isinstance(lamp, CompactLamp) and min(measured_cm, distance_cm) < _POINT_FROM_SIZES * lamp.size_cm:
        cautions.append("nearer than five times the lamp's size it is no point, and the square law is off")
    if isinstance(lamp, TubeLamp):
        cautions.append("a reflector changes the shape close up; beside the middle of the tube it is weaker")
    if not 1 / _FAR_FACTOR <= distance_cm / measured_cm <= _FAR_FACTOR:
        cautions.append("more than twice or less than half the measured distance: take this as a rough guide")
    return tuple(cautions)


def _positive(what: str, number: float) -> None:
    if not (math.isfinite(number) and number > 0):
        raise PlacementError(f"{what} is {number:g}", where="lamp", remedy="Give a number above zero")
