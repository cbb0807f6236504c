"""The curve of a calibration over one of its channels, for drawing and for finding a level of interest."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.calibration import Calibration, Range
from calibrate.points import Points

COVERAGE_FACTOR = 2.0
_STEPS = 400


@dataclass(frozen=True, slots=True)
class Curve:
    """UVI over the level of `channel`, the temperature at its reference: arrays (n,), levels rising.

    `low_uvi` and `high_uvi` are the ends of the interval, k = 2.
    """

    channel: str
    level: FloatArray
    uvi: FloatArray
    low_uvi: FloatArray
    high_uvi: FloatArray


def calibrated_range(calibration: Calibration, channel: str) -> Range:
    """Return the levels at which a channel was calibrated, or where none are stated a guess from its dark."""
    place = [known.name for known in calibration.channels].index(channel)
    known, dark = calibration.channels[place], calibration.model.dark[place]
    if known.valid_range is not None:
        return known.valid_range
    if known.saturation is not None and known.saturation > dark:
        return dark, known.saturation
    return dark, dark + max(1.0, abs(dark)) * 100


def middle_levels(calibration: Calibration) -> dict[str, float]:
    """Return a level for everything that the calibration reads: the middle of what was calibrated.

    With one channel, the level that gives half of the highest calibrated UVI; with several, the middle of
    each one's range.
    """
    ranges = {name: calibrated_range(calibration, name) for name in _channel_names(calibration)}
    levels = {name: (low + high) / 2 for name, (low, high) in ranges.items()}
    if len(ranges) == 1:
        curve = curve_of(calibration)
        wanted = (calibration.uvi_range[0] + calibration.uvi_range[1]) / 2
        levels[curve.channel] = float(np.interp(wanted, curve.uvi, curve.level))
    return {**levels, **_reference_temperature(calibration)}


def curve_of(calibration: Calibration, *, steps: int = _STEPS) -> Curve:
    """Return the curve over the calibrated levels of the only channel of a calibration."""
    (channel,) = _channel_names(calibration)
    level = np.linspace(*calibrated_range(calibration, channel), steps)
    columns: dict[str, FloatArray] = {channel: level}
    for name, degrees in _reference_temperature(calibration).items():
        columns[name] = np.full(steps, degrees)
    converted = calibration.convert(columns)
    half = COVERAGE_FACTOR * converted.u_uvi
    return Curve(channel, level, converted.uvi, np.maximum(converted.uvi - half, 0.0), converted.uvi + half)


def _channel_names(calibration: Calibration) -> tuple[str, ...]:
    return tuple(channel.name for channel in calibration.channels)


def _reference_temperature(calibration: Calibration) -> Mapping[str, float]:
    temperature = calibration.temperature
    return {} if temperature is None else {temperature.channel: temperature.reference_c}


def pairs_of(calibration: Calibration) -> Points | None:
    """Return the pairs that a calibration was made from, if it still has them."""
    origin = calibration.origin
    if origin is None or not origin.pairs:
        return None
    levels = np.array([pair.levels for pair in origin.pairs])
    dark = np.array(origin.dark).reshape(-1, len(calibration.channels))
    return Points(
        _channel_names(calibration),
        levels,
        np.zeros_like(levels),
        np.array([pair.uvi for pair in origin.pairs]),
        np.array([pair.u_uvi for pair in origin.pairs]),
        dark,
        np.zeros_like(dark),
    )
