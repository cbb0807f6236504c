"""A keeper who calibrates a board with a meter, simulated with all that is wrong with both.

Each draw is a new keeper: a new meter, off by an error within its stated limits; a new board, with its
dark level, sensitivity and temperature coefficient; a lamp for the calibration and another of its kind,
or the same one aged, for use.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from calibrate.calibration import Calibration
from calibrate.fits.fit import fit
from calibrate.fits.make import Circumstances, make_calibration
from calibrate.points import Points, ReferenceMeter, from_limits


def straight(uvi):
    """A sensor in proportion."""
    return 330 * uvi


def saturating(uvi):
    """A sensor that bends towards its rail."""
    return 4000 * (1 - np.exp(-uvi / 8))


def bowed(uvi):
    """A sensor after a power law."""
    return 250 * uvi**1.25


@dataclass(frozen=True)
class Keeper:
    """What is true of the keepers to be drawn, and what they state."""

    response: Callable = straight
    n_pairs: int = 7
    n_in_mean: int = 50
    noise_counts: float = 3.0
    meter_limits: float = 0.10
    meter_resolution_uvi: float = 0.1
    repeat_relative: float = 0.015
    mismatch_relative: float = 0.08
    coefficient_per_c: float = 0.002
    states_uncertainty: bool = True
    model: str | None = None


def rounded(uvi, step):
    return np.round(uvi / step) * step if step else uvi


def calibrate(keeper: Keeper, rng) -> tuple[Calibration, Callable]:
    """Return a keeper's calibration and the sensor as it is under the lamp in use: counts of UVI and °C."""
    dark_counts = rng.uniform(5, 40)
    scale = rng.uniform(0.7, 1.3)
    meter_error = rng.uniform(-keeper.meter_limits, keeper.meter_limits)

    def counts(uvi, temperature_c, mismatch, n):
        signal = (
            keeper.response(uvi * mismatch) * scale * (1 + keeper.coefficient_per_c * (temperature_c - 25))
        )
        return dark_counts + signal + keeper.noise_counts / np.sqrt(n) * rng.standard_normal(np.shape(uvi))

    true_uvi = np.linspace(0.6, 7, keeper.n_pairs) * rng.uniform(0.95, 1.05, keeper.n_pairs)
    temperature_c = 24 + 1.5 * true_uvi + rng.uniform(-3, 3, keeper.n_pairs)  # nearer is warmer
    repeat = keeper.repeat_relative * true_uvi
    read = true_uvi * (1 + meter_error) + repeat * rng.standard_normal(keeper.n_pairs)
    read = rounded(read, keeper.meter_resolution_uvi)
    meter = ReferenceMeter(from_limits(keeper.meter_limits), 0.0, keeper.meter_resolution_uvi)
    levels = counts(true_uvi, temperature_c, 1.0, keeper.n_in_mean)[:, np.newaxis]
    dark = counts(np.zeros(2), 25.0, 1.0, keeper.n_in_mean)[:, np.newaxis]
    u_level = keeper.noise_counts / np.sqrt(keeper.n_in_mean)
    u_read = np.hypot(keeper.repeat_relative * read, meter.u_resolution_uvi)
    points = Points(
        ("uva_counts",),
        levels,
        np.full_like(levels, u_level),
        read,
        u_read if keeper.states_uncertainty else np.zeros_like(read),
        dark,
        np.full_like(dark, u_level),
        "temperature_c",
        temperature_c,
    )
    calibration = make_calibration(
        fit(points, model=keeper.model),
        Circumstances(
            lamp_kind="t5",
            sensor_kind="simulated",
            made_on=date(2026, 3, 2),
            meter=meter,
            noise={"uva_counts": keeper.noise_counts},
            spectral_relative=keeper.mismatch_relative,
            drift_relative_per_year=0.0,
        ),
    )
    mismatch = np.exp(keeper.mismatch_relative * rng.standard_normal())
    return calibration, lambda uvi, at_c: counts(uvi, at_c, mismatch, 1)


def share_covered(keeper: Keeper, n_keepers: int, seed: int, *, per_keeper: int = 5, k: float = 2.0) -> float:
    """Return how often the interval of ± k standard uncertainties held the truth, in use."""
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(n_keepers):
        calibration, counts = calibrate(keeper, rng)
        uvi = rng.uniform(0.8, 6.5, per_keeper)
        low, high = calibration.temperature.valid_range_c
        at_c = rng.uniform(low, high, per_keeper)
        converted = calibration.convert({"uva_counts": counts(uvi, at_c), "temperature_c": at_c})
        held.append(np.abs(converted.uvi - uvi) <= k * converted.u_uvi)
    return float(np.mean(held))
