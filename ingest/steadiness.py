"""Whether levels hold still, and what their mean is worth.

Notes
-----
Readings of a lamp are not independent of one another: it wanders over seconds to minutes.  So a span is cut
into blocks, and the means of these say more honestly than the noise of single readings how well the mean of
all is known.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from calibrate.arrays import FloatArray

BLOCKS = 4
STEADY_SHARE = 0.01
"""Blocks that differ by less of the signal are steady.  Judgement: half of what a warm lamp may still do."""

_CHANCE = 5.0
"""The range of the means of four blocks of pure noise is beyond this many of their standard deviations in
about 3 of 1,000 cases (computed)."""

_LEAST_OFF_S = 600.0
_DARK_SHARE = 0.2
"""A level under this share between the lowest and the present one counts as lamp off."""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What n readings of k channels say: each array (k,), in the channels' own units.

    `noise` is the standard deviation of one reading, from neighbours, so that drift does not count; `u_mean`
    the standard uncertainty of the mean, with drift; `wander` the range of the means of blocks, as a share
    of the signal above dark.
    """

    n: int
    mean: FloatArray
    noise: FloatArray
    u_mean: FloatArray
    wander: FloatArray
    steady: bool


def steadiness(levels: FloatArray, dark: FloatArray) -> Steadiness:
    """Judge levels (n, k) in time order, at least 2 for each block, against the dark levels (k,)."""
    n = len(levels)
    if n < 2 * BLOCKS:
        raise ValueError(f"{n} readings are too few for {BLOCKS} blocks")
    mean = levels.mean(axis=0)
    noise = np.sqrt((np.diff(levels, axis=0) ** 2).mean(axis=0) / 2)
    blocks = np.array([part.mean(axis=0) for part in np.array_split(levels, BLOCKS)])
    spread = np.ptp(blocks, axis=0)
    by_chance = _CHANCE * noise * sqrt(BLOCKS / n)
    signal = np.abs(mean - dark)
    steady = bool((spread <= np.maximum(STEADY_SHARE * signal, by_chance)).all())
    u_mean = np.maximum(noise / sqrt(n), blocks.std(axis=0, ddof=1) / sqrt(BLOCKS))
    wander = spread / np.maximum(signal, np.maximum(noise, 1e-12))
    return Steadiness(n, mean, noise, u_mean, wander, steady)


def lit_for_s(t_s: FloatArray, levels: FloatArray) -> float | None:
    """Return for how long the light has been on, by levels (n,) at times (n,) up to now; None if unknown.

    A span in which nothing changes much says nothing: it may have been lit or dark all along.  Nor does a
    short darkness: somebody may have covered the sensor.
    """
    if len(levels) == 0:
        return None
    lowest, now = float(levels.min()), float(np.median(levels[-5:]))
    if now < 2 * lowest or now <= lowest:
        return None
    off = levels < lowest + _DARK_SHARE * (now - lowest)
    last_off = int(np.flatnonzero(off)[-1])
    lit_before = np.flatnonzero(~off[:last_off])
    first_off = int(lit_before[-1]) + 1 if len(lit_before) else 0
    if t_s[last_off] - t_s[first_off] < _LEAST_OFF_S:
        return None
    return float(t_s[-1] - t_s[last_off])
