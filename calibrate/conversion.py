"""The arithmetic of a conversion: channels to UVI, with uncertainty and flags, on arrays.

Everything that does not depend on the readings is worked out once, because the live loop converts
batches of one reading.
"""

from collections.abc import Mapping
from math import hypot, sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from calibrate.arrays import FlagArray, FloatArray
from calibrate.samples import VALUELESS, Flag

if TYPE_CHECKING:
    from calibrate.calibration import Calibration, Temperature

MARK_SATURATED = 1
MARK_FAULT = 4
MARK_CLOCK_UNSURE = 1 << 16
"""Marks that come with readings, fixed by the wire format (and, for the clock, by the store)."""

OTHER_LAMP_KIND_RELATIVE = 1.0
EXTRAPOLATED_SHARE = 0.25
NOISE_MARGIN = 3.0
"""Judgements, stated where the keeper of the code meets them: see `Calibration.convert`."""

_CORRECTION_LIMITS = (0.5, 2.0)
DAYS_PER_YEAR = 365.25
_ABSURD = 1e100  # counts that no sensor gives: sums of such could overflow, and no flag would tell
_CHUNK = 8192
"""Readings at a time: the dozen arrays in work then stay in a small board's cache."""

_SATURATED, _MISSING, _FAULT = int(Flag.SATURATED), int(Flag.MISSING), int(Flag.SENSOR_FAULT)
_BELOW, _ABOVE, _NEGATIVE = int(Flag.BELOW_RANGE), int(Flag.ABOVE_RANGE), int(Flag.NEGATIVE)
_TEMPERATURE, _CLOCK = int(Flag.TEMPERATURE), int(Flag.CLOCK_UNSURE)
_VALUELESS = int(VALUELESS)


class Converted(NamedTuple):
    """What became of n readings: `uvi`, `u_uvi` (k = 1) and `flags` (bits of `Flag`), each (n,)."""

    uvi: FloatArray
    u_uvi: FloatArray
    flags: FlagArray


class Under(NamedTuple):
    """What the circumstances of a batch add: a factor, relative uncertainties (k = 1), flags for all."""

    factor: float
    u_lamp_relative: float
    u_drift_relative: float
    flags: int


class Seen(NamedTuple):
    """A model at n readings, before anything is clamped.

    `uvi` (n,); `by_raw` (k, n) and `by_parameter` (p, n), its derivatives by the channels and by the
    parameters; `signal` (n,), the UVI that a relative change of sensitivity acts on; `u_sensitivity`
    (n,) or one number, the relative standard uncertainty of the sensitivity.
    """

    uvi: FloatArray
    by_raw: FloatArray
    by_parameter: FloatArray
    signal: FloatArray
    u_sensitivity: FloatArray | float


class Conversion:
    """A calibration made ready to convert."""

    def __init__(self, calibration: "Calibration") -> None:
        parts = calibration.uncertainty
        self._calibration = calibration
        self._names = tuple(channel.name for channel in calibration.channels)
        self._dark = np.array(calibration.model.dark)[:, np.newaxis]
        self.noise_squared = np.array([channel.noise**2 for channel in calibration.channels])
        self.covariance = np.array(parts.covariance) * parts.fit_widening**2
        self.u_uvi = hypot(parts.reference_uvi, parts.other_uvi)
        self.u_relative = hypot(parts.reference_relative, parts.spectral_relative, parts.other_relative)
        self._lamp_factors = {other.lamp_kind: other for other in calibration.lamp_factors}

    def convert(
        self,
        columns: Mapping[str, FloatArray],
        marks: FlagArray | None,
        *,
        lamp_kind: str | None,
        age_days: float | None,
    ) -> Converted:
        """Convert readings; see `Calibration.convert`."""
        n = _length(columns, marks)
        out = Converted(np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, dtype=np.uint32))
        under = self.under(lamp_kind, age_days)
        if any(name not in columns for name in self._names):
            out.flags[:] = under.flags | _MISSING
            if marks is not None:
                _apply_marks(marks, out.flags)
            return out
        used = [columns[name] for name in self._names]
        temperature = self._calibration.temperature
        degrees = None if temperature is None else columns.get(temperature.channel)
        for start in range(0, n, _CHUNK):
            part = slice(start, min(start + _CHUNK, n))
            raw = np.array([column[part] for column in used], dtype=np.float64)
            self._convert_chunk(
                raw,
                None if degrees is None else np.asarray(degrees[part], dtype=np.float64),
                None if marks is None else marks[part],
                under,
                Converted(out.uvi[part], out.u_uvi[part], out.flags[part]),
            )
        return out

    def under(self, lamp_kind: str | None, age_days: float | None) -> Under:
        """Return what lamp kind and age add to every reading."""
        factor, u_lamp, u_drift, flags = 1.0, 0.0, 0.0, 0
        calibration = self._calibration
        if lamp_kind is not None and lamp_kind != calibration.lamp_kind:
            flags |= int(Flag.OTHER_LAMP_KIND)
            known = self._lamp_factors.get(lamp_kind)
            u_lamp = OTHER_LAMP_KIND_RELATIVE
            if known is not None:
                factor, u_lamp = known.factor, known.u_relative
        if age_days is not None:
            years = max(age_days, 0.0) / DAYS_PER_YEAR
            u_drift = calibration.uncertainty.drift_relative_per_year * years
            if age_days > calibration.valid_for_days:
                flags |= int(Flag.STALE_CALIBRATION)
        return Under(factor, u_lamp, u_drift, flags)

    def see(self, raw: FloatArray, degrees: FloatArray | None, flags: FlagArray) -> Seen:
        """Return the model at readings `raw` (k, n); flag temperatures out of range or unknown."""
        net = raw - self._dark
        temperature = self._calibration.temperature
        if temperature is None:
            uvi, by_raw, by_shape = self._calibration.model.evaluate(net)
            return Seen(uvi, by_raw, np.concatenate((-by_raw, by_shape)), uvi, 0.0)
        sensitivity, u_sensitivity = _sensitivity(temperature, degrees, flags)
        net /= sensitivity
        uvi, by_net, by_shape = self._calibration.model.evaluate(net)
        by_raw = by_net / sensitivity
        signal = (by_net * net).sum(axis=0)
        return Seen(uvi, by_raw, np.concatenate((-by_raw, by_shape)), signal, u_sensitivity)

    def explained(self, seen: Seen) -> tuple[FloatArray, FloatArray]:
        """Return the variance from noise (n,), and from noise, fit and what does not grow with UVI (n,)."""
        random = self.noise_squared @ (seen.by_raw * seen.by_raw)
        fitted = ((self.covariance @ seen.by_parameter) * seen.by_parameter).sum(axis=0)
        return random, random + fitted + self.u_uvi**2

    def _convert_chunk(
        self,
        raw: FloatArray,
        degrees: FloatArray | None,
        marks: FlagArray | None,
        under: Under,
        out: Converted,
    ) -> None:
        flags = out.flags
        flags[:] = under.flags
        present = np.abs(raw) < _ABSURD
        if not present.all():
            raw[~present] = np.nan
            flags[~present.all(axis=0)] |= _MISSING
        seen = self.see(raw, degrees, flags)
        random, variance = self.explained(seen)

        uvi = seen.uvi
        if (uvi < 0).any():
            below = below_dark(uvi, variance)
            flags[below > 0] |= _NEGATIVE
            variance += below * below
            uvi = np.where(uvi < 0, 0.0, uvi)
        low, high = self._calibration.uvi_range
        if (uvi > high).any():
            flags[uvi - NOISE_MARGIN * np.sqrt(random) > high] |= _ABOVE
            variance += extrapolated(uvi, high) ** 2
        if low > 0:
            flags[uvi + NOISE_MARGIN * np.sqrt(random) < low] |= _BELOW
        self._flag_channels(raw, flags)
        if marks is not None:
            _apply_marks(marks, flags)

        relative = hypot(self.u_relative, under.u_lamp_relative, under.u_drift_relative)
        variance += (uvi * relative) ** 2
        if self._calibration.temperature is not None:
            variance += (seen.signal * seen.u_sensitivity) ** 2
        np.multiply(uvi, under.factor, out=out.uvi)
        np.multiply(np.sqrt(variance), under.factor, out=out.u_uvi)
        valueless = (flags & _VALUELESS) != 0
        if valueless.any():
            out.uvi[valueless] = np.nan
            out.u_uvi[valueless] = np.nan

    def _flag_channels(self, raw: FloatArray, flags: FlagArray) -> None:
        for values, channel in zip(raw, self._calibration.channels, strict=True):
            if channel.saturation is not None:
                flags[values >= channel.saturation] |= _SATURATED
            if channel.valid_range is not None:
                low, high = channel.valid_range
                margin = NOISE_MARGIN * channel.noise
                flags[values > high + margin] |= _ABOVE
                flags[values < low - margin] |= _BELOW


def below_dark(uvi: FloatArray, explained: FloatArray) -> FloatArray:
    """Return how far values (n,) lie below zero where that is more than the variance `explained` allows."""
    beyond = (uvi < 0) & (uvi * uvi > NOISE_MARGIN**2 * explained)
    return np.where(beyond, -uvi, 0.0)


def extrapolated(uvi: FloatArray, high: float) -> FloatArray:
    """Return what values (n,) beyond the calibrated range add to their standard uncertainty."""
    return EXTRAPOLATED_SHARE * np.maximum(uvi - high, 0.0)


def without_extrapolation(uvi: FloatArray, u_uvi: FloatArray, high: float) -> FloatArray:
    """Return the standard uncertainties (n,) of converted values less what `extrapolated` added."""
    return np.asarray(np.sqrt(np.maximum(u_uvi**2 - extrapolated(uvi, high) ** 2, 0.0)))


def _length(columns: Mapping[str, FloatArray], marks: FlagArray | None) -> int:
    if marks is not None:
        return len(marks)
    return len(next(iter(columns.values()))) if columns else 0


def _apply_marks(marks: FlagArray, flags: FlagArray) -> None:
    if not marks.any():
        return
    flags[(marks & MARK_SATURATED) != 0] |= _SATURATED
    # A board leaves out the channels of the sensor that failed: what it does report is good.
    flags[((marks & MARK_FAULT) != 0) & ((flags & _MISSING) != 0)] |= _FAULT
    flags[(marks & MARK_CLOCK_UNSURE) != 0] |= _CLOCK


def _sensitivity(
    temperature: "Temperature", degrees: FloatArray | None, flags: FlagArray
) -> tuple[FloatArray | float, FloatArray | float]:
    """Return the sensitivity relative to that at the reference temperature, and its relative uncertainty."""
    alpha, u_alpha = temperature.coefficient_per_c, temperature.u_coefficient_per_c
    low, high = temperature.valid_range_c
    # Not known: anywhere in the valid range alike, so a rectangular distribution (JCGM 100:2008, 4.3.7),
    # about the reference temperature because that is where an uncorrected value belongs.
    u_unknown = hypot(alpha, u_alpha) * max(high - temperature.reference_c, temperature.reference_c - low)
    u_unknown = abs(u_unknown) / sqrt(3)
    if degrees is None:
        flags |= _TEMPERATURE
        return 1.0, u_unknown
    known = np.isfinite(degrees)
    flags[~((degrees >= low) & (degrees <= high) & known)] |= _TEMPERATURE
    above = np.where(known, degrees - temperature.reference_c, 0.0)
    sensitivity = np.clip(1 + alpha * above, *_CORRECTION_LIMITS)
    relative = np.hypot(above * u_alpha, alpha * temperature.u_temperature_c) / sensitivity
    return sensitivity, np.where(known, relative, u_unknown)
