"""Spot checks: what a spot's running value and a reference reading beside it say of each other."""

from dataclasses import dataclass
from enum import StrEnum
from math import exp, hypot, log, sqrt

from calibrate.calibration import Uncertainty
from calibrate.points import ReferenceMeter

COVERAGE_FACTOR = 2.0

WITHIN_E_N, OUT_E_N = 1.0, 1.5
"""Within to 1, as ISO/IEC 17043 has it.  It parts no further; with k = 2 the 1.5 is the 3 standard
uncertainties at which its z-scores turn from questionable to unsatisfactory (from memory)."""


class Verdict(StrEnum):
    """What a spot check says of the calibration."""

    WITHIN = "within"
    DOUBTFUL = "doubtful"
    OUT = "out"


@dataclass(frozen=True, slots=True)
class SpotCheck:
    """A running value compared with a reference reading.

    `ratio` is reference over running value, and `u_ratio` its standard uncertainty (k = 1), without what
    is common to both where the meter is the one that the calibration was made with.  `e_n` is the
    difference over its expanded uncertainty (k = 2).
    """

    ratio: float
    u_ratio: float
    e_n: float
    verdict: Verdict


def spot_check(
    uvi: float,
    u_uvi: float,
    reference_uvi: float,
    meter: ReferenceMeter,
    *,
    u_repeat_uvi: float = 0.0,
    calibrated_with_it: Uncertainty | None = None,
) -> SpotCheck:
    """Compare a spot's running value with a reference reading.

    Parameters
    ----------
    uvi, u_uvi
        The mean of the spot's samples over the settle time, above 0, and its standard uncertainty.
    reference_uvi, meter
        The reading, above 0, and the meter it comes from.
    u_repeat_uvi
        How well the reading repeats, and how well meter and sensor share a place (k = 1).
    calibrated_with_it
        The uncertainty of the spot's calibration if this meter is the one it was made with: what all its
        readings have in common is then in the running value too, so it says nothing about the difference
        (JCGM 100:2008, 5.2).

    Notes
    -----
    E_n = (x − X) / √(U_x² + U_X²), ISO/IEC 17043.
    """
    if not (uvi > 0 and reference_uvi > 0):
        raise ValueError("a spot check compares two values above 0")
    u_reading = hypot(meter.u_resolution_uvi, u_repeat_uvi)
    if calibrated_with_it is None:
        u_value, u_reference = u_uvi, hypot(u_reading, meter.u_relative * reference_uvi, meter.u_zero_uvi)
    else:
        common = hypot(calibrated_with_it.reference_relative * uvi, calibrated_with_it.reference_uvi)
        u_value, u_reference = sqrt(max(u_uvi**2 - common**2, 0.0)), u_reading
    e_n = _over(uvi - reference_uvi, COVERAGE_FACTOR * hypot(u_value, u_reference))
    ratio = reference_uvi / uvi
    return SpotCheck(ratio, ratio * hypot(u_value / uvi, u_reference / reference_uvi), e_n, verdict_of(e_n))


def verdict_of(e_n: float) -> Verdict:
    """Return what an E_n number says."""
    if abs(e_n) <= WITHIN_E_N:
        return Verdict.WITHIN
    return Verdict.DOUBTFUL if abs(e_n) <= OUT_E_N else Verdict.OUT


def _over(difference: float, expanded: float) -> float:
    if expanded > 0:
        return difference / expanded
    return 0.0 if difference == 0 else float("inf") if difference > 0 else float("-inf")


class Moved(StrEnum):
    """What has changed between two moments, as far as the data can tell."""

    NOTHING = "nothing"
    LIGHT = "light"  # the lamp, or what stands between
    SENSOR = "sensor"  # its window, its place or itself
    BOTH = "both"


@dataclass(frozen=True, slots=True)
class Change:
    """A later value over an earlier one, with the relative standard uncertainty of that ratio."""

    ratio: float
    u_relative: float

    def differs_from(self, other: "Change") -> bool:
        """Say whether two changes differ by more than twice their combined uncertainty."""
        return abs(log(self.ratio / other.ratio)) > COVERAGE_FACTOR * hypot(self.u_relative, other.u_relative)

    def is_change(self) -> bool:
        """Say whether it differs from no change at all."""
        return self.differs_from(Change(1.0, 0.0))


def what_moved(running: Change, reference: Change) -> Moved:
    """Tell sensor drift from a changed light by a reference reading taken at both moments.

    What the meter's readings have in common drops out of its ratio, so it does not belong in
    `u_relative`.
    """
    sensor = running.differs_from(reference)
    if reference.is_change():
        return Moved.BOTH if sensor else Moved.LIGHT
    return Moved.SENSOR if sensor else Moved.NOTHING


class MovedOfTwo(StrEnum):
    """What has changed between two moments where two sensors look at one lamp."""

    NOTHING = "nothing"
    LIGHT = "light"
    FIRST = "first sensor"
    SECOND = "second sensor"
    UNCLEAR = "unclear"  # both changed, and not alike


def which_moved(first: Change, second: Change) -> MovedOfTwo:
    """Tell by two sensors under one lamp: alike, it was the light; one alone, that sensor or its view."""
    if not first.differs_from(second):
        together = Change(
            exp((log(first.ratio) + log(second.ratio)) / 2), hypot(first.u_relative, second.u_relative) / 2
        )
        return MovedOfTwo.LIGHT if together.is_change() else MovedOfTwo.NOTHING
    match first.is_change(), second.is_change():
        case True, False:
            return MovedOfTwo.FIRST
        case False, True:
            return MovedOfTwo.SECOND
        case _:
            return MovedOfTwo.UNCLEAR
