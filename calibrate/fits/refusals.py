"""When points are not fit for a calibration, and how to say so."""

from itertools import combinations

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.errors import KeeperError
from calibrate.models import Model
from calibrate.points import Points

FEWEST_PAIRS = 3
"""Three heights show a bend; two never do.  Five or more are common practice."""

SAME_HEIGHT_SHARE = 0.02
"""Reference readings that differ by less than this are one height."""

NARROWEST_RATIO = 1.5
"""The highest reference reading over the lowest; below it a slope is little more than a guess."""

REVERSED_UVI_SHARE, REVERSED_LEVEL_SHARE = 0.15, 0.10
REVERSED_RANGE_SHARE = 0.05
"""Two pairs contradict each other if one has so much more UVI on so much less of a level, as shares of the
two and of the highest of all; beyond 4 times their uncertainties as well."""

LEAST_EXPLAINED = 0.8
"""A fit that explains less of the variation of the reference readings has found nothing."""

REACH = 1.1
"""How far beyond the highest point a calibration may be asked to reach."""


class FitRefusedError(KeeperError):
    """Points from which no honest calibration can be made."""


def refuse_unfit(points: Points, *, asked_for: bool, must_reach_uvi: float | None) -> tuple[str, ...]:
    """Raise `FitRefusedError` if the points cannot carry a calibration; return warnings otherwise.

    With `asked_for` (a model was asked for by name) what is merely unwise becomes a warning.
    """
    n = len(points)
    fewest = 2 if asked_for else FEWEST_PAIRS
    if n < fewest:
        raise FitRefusedError(
            f"{n} pair{'' if n == 1 else 's'} of readings are too few",
            remedy=f"Take {FEWEST_PAIRS} or better 5, at distances that part the highest from the lowest UVI",
        )
    lowest, highest = float(points.reference_uvi.min()), float(points.reference_uvi.max())
    noise = float(np.hypot.reduce(np.sort(points.u_reference_uvi)[-2:]))
    if highest - lowest <= max(SAME_HEIGHT_SHARE * highest, 2 * noise):
        raise FitRefusedError(
            f"all {n} pairs are at one height, {lowest:.3g} to {highest:.3g} UVI",
            remedy="Change the distance to the lamp between readings, not the lamp",
        )
    warnings = []
    if highest < NARROWEST_RATIO * lowest:
        close = f"the pairs are close together, from {lowest:.3g} to {highest:.3g} UVI"
        if not asked_for:
            raise FitRefusedError(
                close,
                remedy=f"Take the highest at least {NARROWEST_RATIO:g} times the lowest; further is better",
            )
        warnings.append(close)
    _refuse_contradictions(points)
    if must_reach_uvi is not None and must_reach_uvi > REACH * highest:
        raise FitRefusedError(
            f"UVI {must_reach_uvi:g} is to be measured, but the highest pair is at {highest:.3g}",
            remedy="Take a pair nearer to the lamp, so that nothing has to be extrapolated",
        )
    return tuple(warnings)


def _refuse_contradictions(points: Points) -> None:
    """Refuse two pairs that put more UVI on less of a level; only one channel can be judged so."""
    if len(points.channels) > 1:
        return
    net = points.levels[:, 0] - points.dark_level()[0][0]
    u_level, uvi, u_uvi = points.u_levels[:, 0], points.reference_uvi, points.u_reference_uvi
    for i, j in combinations(range(len(points)), 2):
        more, less = (i, j) if uvi[i] > uvi[j] else (j, i)
        uvi_gap = max(
            REVERSED_UVI_SHARE * uvi[more],
            REVERSED_RANGE_SHARE * uvi.max(),
            4 * np.hypot(u_uvi[i], u_uvi[j]),
        )
        level_gap = max(
            REVERSED_LEVEL_SHARE * abs(net[less]),
            REVERSED_RANGE_SHARE * np.abs(net).max(),
            4 * np.hypot(u_level[i], u_level[j]),
        )
        if uvi[more] - uvi[less] > uvi_gap and net[less] - net[more] > level_gap:
            raise FitRefusedError(
                f"{points.labels[more]} and {points.labels[less]} contradict each other: "
                f"{points.levels[more, 0]:g} is {uvi[more]:.3g} UVI, but {points.levels[less, 0]:g} is "
                f"{uvi[less]:.3g} UVI",
                remedy="Take both again, with meter and sensor at the same place",
            )


def refuse_meaningless(points: Points, residual_uvi: FloatArray, *, asked_for: bool) -> tuple[str, ...]:
    """Refuse a fit that explains next to nothing; return it as a warning if it was asked for."""
    about_mean = points.reference_uvi - points.reference_uvi.mean()
    explained = 1 - float(residual_uvi @ residual_uvi) / float(about_mean @ about_mean)
    if explained >= LEAST_EXPLAINED:
        return ()
    what = f"the levels explain only {max(explained, 0):.0%} of how the reference readings vary"
    if asked_for:
        return (what,)
    raise FitRefusedError(
        what, remedy="Check that sensor and meter look at the same light from the same place"
    )


def refuse_not_rising(points: Points, model: Model, covariance: FloatArray) -> None:
    """Refuse a fit that does not clearly rise from the pair with the least UVI to that with the most."""
    ends = [int(points.reference_uvi.argmin()), int(points.reference_uvi.argmax())]
    net = points.levels[ends] - np.array(model.dark)
    uvi, by_net, by_shape = model.evaluate(net.T)
    by_parameter = np.concatenate((-by_net, by_shape))
    gradient = by_parameter[:, 1] - by_parameter[:, 0]
    rise = float(uvi[1] - uvi[0])
    u_rise = float(np.sqrt(max(float(gradient @ covariance @ gradient), 0.0)))
    if rise <= 3 * u_rise:
        raise FitRefusedError(
            f"UVI does not clearly rise from the lowest to the highest pair ({rise:.3g} ± {u_rise:.2g})",
            remedy="Check that sensor and meter look at the same light from the same place",
        )


def without_saturated(points: Points, saturation: dict[str, float]) -> tuple[Points, tuple[str, ...]]:
    """Return the points whose sensor was not at its rail, and a sentence for each one left out."""
    keep = np.ones(len(points), dtype=bool)
    for i, channel in enumerate(points.channels):
        if channel in saturation:
            keep &= points.levels[:, i] < saturation[channel]
    dropped = tuple(
        f"{label} is left out: the sensor was saturated"
        for label, kept in zip(points.labels, keep, strict=True)
        if not kept
    )
    return (points.only(keep) if dropped else points), dropped
