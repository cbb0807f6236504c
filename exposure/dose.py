"""Erythemal dose of a series of samples, in UVI·h and in SED."""

from dataclasses import dataclass

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from calibrate.samples import AT_LEAST, Samples
from exposure.segments import Segments, segments

_W_M2_PER_UVI = 0.025
_J_M2_PER_SED = 100.0
SED_PER_UVI_H = _W_M2_PER_UVI * 3600 / _J_M2_PER_SED
"""0.9: UVI 1 is 0.025 W/m² (WHO 2002, k_er = 40 m²/W), an hour of it 90 J/m², and 1 SED is 100 J/m²."""


@dataclass(frozen=True, slots=True)
class Dose:
    """A dose and how much of the time it was seen.

    `uvi_h` in UVI·h and `u_uvi_h`, its standard uncertainty (k = 1); `seconds_seen` of the interval asked
    for; `at_least` where a sample at the sensor's or the calibration's upper end went in.
    """

    uvi_h: float
    u_uvi_h: float
    seconds_seen: float
    at_least: bool

    @property
    def sed(self) -> float:
        """The dose in SED (100 J/m²)."""
        return self.uvi_h * SED_PER_UVI_H

    @property
    def u_sed(self) -> float:
        """Its standard uncertainty in SED."""
        return self.u_uvi_h * SED_PER_UVI_H


def dose(samples: Samples, start_ms: int, end_ms: int, max_gap_s: float) -> Dose:
    """Return the dose received from `start_ms` to `end_ms`, as far as it was seen.

    Parameters
    ----------
    samples
        In time order.  Samples outside the interval are used to see its edges.
    start_ms, end_ms
        UTC milliseconds since the epoch.
    max_gap_s
        Longest time between samples that counts as seen [s]; `segments.default_max_gap_s` derives it from
        the cadence.

    Notes
    -----
    Trapezoid rule between neighbouring samples with values.  Over a longer gap nothing is added: compare
    `seconds_seen` with the interval.  A conversion puts what lies below zero to zero, so noise about dark
    adds up to 0.4 of its standard deviation, well within the uncertainty.

    The uncertainty is the integral of the samples' own: all their errors are taken as fully correlated.
    What is common to all samples (curve, reference meter) is the greater part and truly is; for the noise
    it is cautious.

    References
    ----------
    ISO/CIE 17166:2019 (SED); WHO/WMO/UNEP/ICNIRP 2002, Global Solar UV Index: A Practical Guide.
    """
    return dose_of(segments(samples, start_ms, end_ms, max_gap_s))


def seen_until(pieces: Segments, at_ms: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the dose [UVI·h] and the time seen [s] from the first piece to each of `at_ms`, both (n,).

    A piece that reaches over a moment counts up to it, on its straight line: differences between moments
    add up exactly.
    """
    if len(pieces.start_ms) == 0:
        return np.zeros(len(at_ms)), np.zeros(len(at_ms))
    seconds = pieces.seconds
    uvi_h = seconds * (pieces.uvi_start + pieces.uvi_end) / 7200
    before = np.searchsorted(pieces.start_ms, at_ms, "right") - 1
    at = np.maximum(before, 0)
    length_ms = pieces.end_ms[at] - pieces.start_ms[at]
    along = np.clip((at_ms - pieces.start_ms[at]) / length_ms, 0.0, 1.0)
    reached_uvi = pieces.uvi_start[at] + along * (pieces.uvi_end[at] - pieces.uvi_start[at])
    partly_s = along * seconds[at]
    partly_uvi_h = partly_s * (pieces.uvi_start[at] + reached_uvi) / 7200
    sum_uvi_h = np.concatenate([[0.0], np.cumsum(uvi_h)])[at] + partly_uvi_h
    sum_s = np.concatenate([[0.0], np.cumsum(seconds)])[at] + partly_s
    return np.where(before < 0, 0.0, sum_uvi_h), np.where(before < 0, 0.0, sum_s)


def dose_of(pieces: Segments) -> Dose:
    """Return the dose of pieces already cut out; see `dose`."""
    seconds = pieces.seconds
    return Dose(
        uvi_h=float((seconds * (pieces.uvi_start + pieces.uvi_end)).sum()) / 7200,
        u_uvi_h=float((seconds * (pieces.u_start + pieces.u_end)).sum()) / 7200,
        seconds_seen=float(seconds.sum()),
        at_least=bool(np.any(pieces.flags & np.uint32(AT_LEAST))),
    )
