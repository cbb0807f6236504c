"""The uncertainty budget of one reading, in the manner of the GUM (JCGM 100:2008, 4 and 5)."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from calibrate.calibration import Calibration
from calibrate.conversion import Conversion, Seen, Under, below_dark, extrapolated
from calibrate.samples import Flag

COVERAGE_FACTOR = 2.0
"""The interval of ± this many standard uncertainties is meant to hold about 95 %."""


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source of uncertainty.

    `u_uvi` is what it adds to the standard uncertainty of the result, in UVI; `share` its part of the
    variance.  `common` sources err alike in all samples of this calibration, so that no mean over time
    makes them smaller; the others err anew with each reading.
    """

    source: str
    basis: str
    u_uvi: float
    share: float
    common: bool


@dataclass(frozen=True, slots=True)
class Budget:
    """The budget at one reading: `rows`, the largest first, and the result.

    `uvi` and `u_uvi` are those that `Calibration.convert` gives, and `u_uvi` is the root sum square of
    the rows'.
    """

    rows: tuple[BudgetRow, ...]
    uvi: float
    u_uvi: float
    flags: Flag

    @property
    def expanded_uvi(self) -> float:
        """The expanded uncertainty, k = 2."""
        return COVERAGE_FACTOR * self.u_uvi


def budget(
    calibration: Calibration,
    levels: Mapping[str, float],
    *,
    lamp_kind: str | None = None,
    age_days: float | None = None,
) -> Budget:
    """Return where the uncertainty of one reading comes from.

    Parameters
    ----------
    calibration
        The calibration.
    levels
        A finite level for each of its channels, and the temperature if it has one.
    lamp_kind, age_days
        As for `Calibration.convert`.
    """
    conversion = Conversion(calibration)
    raw = np.array([[levels[channel.name]] for channel in calibration.channels])
    temperature = calibration.temperature
    degrees = None
    if temperature is not None and temperature.channel in levels:
        degrees = np.array([levels[temperature.channel]])
    seen = conversion.see(raw, degrees, np.zeros(1, dtype=np.uint32))
    under = conversion.under(lamp_kind, age_days)
    contributions = [
        (source, basis, under.factor * abs(u), common)
        for source, basis, u, common in _contributions(calibration, conversion, seen, under)
    ]
    total = sum(u**2 for _, _, u, _ in contributions)
    rows = (
        BudgetRow(source, basis, u, u**2 / total, common)
        for source, basis, u, common in contributions
        if u**2 > 0
    )
    columns = {name: np.array([level], dtype=np.float64) for name, level in levels.items()}
    converted = calibration.convert(columns, lamp_kind=lamp_kind, age_days=age_days)
    return Budget(
        tuple(sorted(rows, key=lambda row: -row.u_uvi)),
        float(converted.uvi[0]),
        float(converted.u_uvi[0]),
        Flag(int(converted.flags[0])),
    )


def _contributions(
    calibration: Calibration, conversion: Conversion, seen: Seen, under: Under
) -> list[tuple[str, str, float, bool]]:
    """Return (source, basis, contribution in UVI, whether common) of each, before the lamp's factor."""
    parts = calibration.uncertainty
    uvi = max(float(seen.uvi[0]), 0.0)
    _, explained = conversion.explained(seen)
    by_parameter = seen.by_parameter[:, 0]
    u_fit = sqrt(max(float(by_parameter @ conversion.covariance @ by_parameter), 0.0))
    widened = f", widened {parts.fit_widening:.2g} times" if parts.fit_widening > 1 else ""
    of_parameters = f"covariance of {', '.join(calibration.parameter_names)}{widened}"
    u_temperature = float(np.ravel(seen.signal * seen.u_sensitivity)[0])
    noise = [
        (f"noise of {channel.name}", "standard deviation of one reading", float(slope) * channel.noise, False)
        for channel, slope in zip(calibration.channels, seen.by_raw[:, 0], strict=True)
    ]
    return [
        *noise,
        ("fit", of_parameters, u_fit, True),
        ("reference meter", "common to all its readings", parts.reference_relative * uvi, True),
        ("reference meter's zero", "common to all its readings", parts.reference_uvi, True),
        ("spectrum", "lamps of one kind differ", parts.spectral_relative * uvi, True),
        ("another lamp kind", "as far as it is known", under.u_lamp_relative * uvi, True),
        ("temperature", "coefficient and thermometer", u_temperature, True),
        ("ageing", "time since the calibration", under.u_drift_relative * uvi, True),
        ("other, relative", "stated", parts.other_relative * uvi, True),
        ("other", "stated", parts.other_uvi, True),
        (
            "extrapolation",
            "beyond the calibrated range",
            float(extrapolated(np.array(uvi), calibration.uvi_range[1])),
            True,
        ),
        ("below dark", "more than noise explains", float(below_dark(seen.uvi, explained)[0]), True),
    ]
