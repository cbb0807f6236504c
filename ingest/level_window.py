"""The last part of what was watched, and whether it holds still."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from calibrate.arrays import FloatArray
from ingest.spot_levels import Levels
from ingest.steadiness import BLOCKS, Steadiness, steadiness

_LEAST_READINGS: Final = 2 * BLOCKS


def values_of(levels: Levels, channels: Sequence[str]) -> FloatArray:
    """Return the levels of some channels, (n, k)."""
    return np.column_stack([levels.of(channel) for channel in channels])


def judged(
    levels: Levels, channels: Sequence[str], window_s: float, dark: FloatArray, *, whole: bool
) -> Steadiness | None:
    """Judge the last `window_s` against dark levels; None until it is full (or, `whole`, holds enough)."""
    if len(levels) < _LEAST_READINGS:
        return None
    span_s = (int(levels.utc_ms[-1]) - int(levels.utc_ms[0])) / 1000
    if not whole and span_s < window_s * (1 - 1 / len(levels)):
        return None
    start_ms = int(levels.utc_ms[-1]) - round(1000 * window_s)
    first = min(int(np.searchsorted(levels.utc_ms, start_ms)), len(levels) - _LEAST_READINGS)
    values = values_of(levels, channels)[first:]
    values = values[np.isfinite(values).all(axis=1)]
    return steadiness(values, dark) if len(values) >= _LEAST_READINGS else None
