"""Spectral mismatch: what a sensor that weighs wavelengths unlike skin gets wrong under another light.

A calibration makes the sensor right under the light C that it was made under.  Under another light Z its
reading has to be multiplied by

    F = (∫ E_Z w dλ / ∫ E_Z s dλ) / (∫ E_C w dλ / ∫ E_C s dλ)

with w the action spectrum and s the sensor's response (CIE 220:2016 calls 1/F a*; the same idea as the
mismatch factor of IEC 60904-7 for solar cells).  F needs only the shapes of E_C, E_Z and s, is 1 if the
lights are alike in shape, and 1 if s has the shape of w.
"""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.errors import KeeperError
from calibrate.erythema import ERYTHEMA
from calibrate.spectra import Spectrum, integral_of_product, lines_within, nodes_nm

CORRELATION_NM = 15.0
"""How far errors of a spectrum's shape reach.  Judgement: about the width of a phosphor band's flank."""

SHIFT_NM = 1.0
"""Standard uncertainty of a response's place in wavelength.  Judgement: about how far two samples of one
interference filter or photodiode differ, and how well a figure can be read."""


class MismatchError(KeeperError):
    """A mismatch factor that cannot be worked out."""


@dataclass(frozen=True, slots=True)
class Mismatch:
    """The factor F to multiply a reading by, and its relative standard uncertainty."""

    factor: float
    u_relative: float


def mismatch_factor(sensor: Spectrum, calibrated_under: Spectrum, used_under: Spectrum) -> float:
    """Return F for a sensor, the light it was calibrated under, and the light it is used under.

    Raises `MismatchError` where the sensor, or skin, sees nothing of one of the lights.
    """
    return _effect(used_under, sensor) / _effect(calibrated_under, sensor)


def mismatch(sensor: Spectrum, calibrated_under: Spectrum, used_under: Spectrum) -> Mismatch:
    """Return F with the uncertainty that comes from the shapes of the three spectra.

    Notes
    -----
    First-order propagation (JCGM 100:2008, 5.1.2 and 5.2.2).  Each spectrum errs by its `u_relative`,
    neighbouring wavelengths alike (correlation exp(−(Δλ/15 nm)²/2)); an error common to all wavelengths
    drops out of F by itself.  The sensor's response, which enters both ratios, may also be shifted as a
    whole by 1 nm.
    """
    factor = mismatch_factor(sensor, calibrated_under, used_under)
    variance = _light_variance(sensor, calibrated_under) + _light_variance(sensor, used_under)
    variance += _sensor_variance(sensor, calibrated_under, used_under)
    up, down = (replace(sensor, wavelength_nm=sensor.wavelength_nm + sign * SHIFT_NM) for sign in (1.0, -1.0))
    slope = mismatch_factor(up, calibrated_under, used_under) - mismatch_factor(
        down, calibrated_under, used_under
    )
    variance += (slope / 2 / factor) ** 2
    return Mismatch(factor, sqrt(variance))


def _effect(light: Spectrum, sensor: Spectrum) -> float:
    seen_by_skin, seen_by_sensor = integral_of_product(light, ERYTHEMA), integral_of_product(light, sensor)
    if seen_by_skin <= 0 or seen_by_sensor <= 0:
        who = "the sensor" if seen_by_sensor <= 0 else "skin"
        raise MismatchError(
            f"{who} sees nothing of this light",
            where=light.source,
            remedy="This sensor cannot be used under it",
        )
    return seen_by_skin / seen_by_sensor


def _quadrature(light: Spectrum, sensor: Spectrum) -> tuple[FloatArray, FloatArray]:
    """Return wavelengths and the energy of the light at each, so that a weighted sum is an integral."""
    nm = nodes_nm(light, sensor)
    if len(nm) > 1:
        nm = np.linspace(nm[0], nm[-1], int(nm[-1] - nm[0]) + 1)  # 1 nm is fine enough for an uncertainty
    energy = light.at(nm) * np.gradient(nm) if len(nm) > 1 else np.zeros(len(nm))
    return np.concatenate((nm, light.line_nm)), np.concatenate((energy, lines_within(light)))


def _shares(weight: Spectrum, nm: FloatArray, energy: FloatArray) -> FloatArray:
    part = energy * weight.at(nm)
    total = float(part.sum())
    return part / total if total > 0 else part


def _correlated(gradient: FloatArray, nm: FloatArray, u_relative: float) -> float:
    distance = (nm[:, np.newaxis] - nm) / CORRELATION_NM
    return float(gradient @ np.exp(-(distance**2) / 2) @ gradient) * u_relative**2


def _light_variance(sensor: Spectrum, light: Spectrum) -> float:
    nm, energy = _quadrature(light, sensor)
    gradient = _shares(ERYTHEMA, nm, energy) - _shares(sensor, nm, energy)
    return _correlated(gradient, nm, light.u_relative)


def _sensor_variance(sensor: Spectrum, calibrated_under: Spectrum, used_under: Spectrum) -> float:
    parts = []
    for sign, light in ((1.0, calibrated_under), (-1.0, used_under)):
        nm, energy = _quadrature(light, sensor)
        parts.append((nm, sign * _shares(sensor, nm, energy)))
    nm, gradient = (np.concatenate(column) for column in zip(*parts, strict=True))
    return _correlated(gradient, nm, sensor.u_relative)
