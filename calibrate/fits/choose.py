"""The choice among shapes, by the corrected Akaike criterion (AICc) [1]_.

AICc weighs how well a shape fits against how many numbers it needs.  The simplest whose AICc is within 4
of the lowest is taken, because a bend has to earn its place.  Where the points scatter more than their
stated uncertainties allow around even the most supple shape, that scatter is taken as the measure instead.

References
----------
.. [1] Burnham & Anderson 2002, Model Selection and Multimodel Inference, 2nd ed., Springer, 2.4 and 2.5:
   the correction for small samples, and for scatter beyond what is stated.
"""

from dataclasses import dataclass
from math import log

from calibrate.fits.attempt import Attempt, with_temperature

AICC_EARNED = 4.0

UNKNOWN_COEFFICIENT_PER_C = 0.002
"""What the coefficient of a board may be of which nothing is known (k = 1).  Judgement: board pages state
about 0.1 % per °C for the photodiode alone; amplifier and voltage reference come on top."""


@dataclass(frozen=True, slots=True)
class Rated:
    """An attempt with its AICc; None if the points are too few to compare it."""

    attempt: Attempt
    aicc: float | None


def rate(tried: list[Attempt]) -> list[Rated]:
    """Return all attempts at one set of points with their AICc, the scatter taken alike for all."""
    n = len(tried[0].points)
    if not tried[0].stated:
        return [Rated(attempt, _aicc_from_scatter(attempt, n)) for attempt in tried]
    # With fewer degrees of freedom the lowest of several says more of chance than of scatter.
    reduced = [a.reduced_chi2 for a in tried if a.freedom >= 3 and a.reduced_chi2 is not None]
    excess = max(1.0, min(reduced, default=1.0))
    return [
        Rated(attempt, _corrected(attempt.solution.chi2 / excess, attempt.solution.n_free, n))
        for attempt in tried
    ]


def _aicc_from_scatter(attempt: Attempt, n: int) -> float | None:
    # Rounding leaves about 1e-16 of a perfect fit: no shape may win by less.
    reference_uvi = attempt.points.reference_uvi
    floor = 1e-20 * float(reference_uvi @ reference_uvi)
    # The scatter is one more number that is estimated.
    return _corrected(n * log(max(attempt.solution.chi2, floor) / n), attempt.solution.n_free + 1, n)


def _corrected(misfit: float, p: int, n: int) -> float | None:
    room = n - p - 1
    return misfit + 2 * p + 2 * p * (p + 1) / room if room > 0 else None


def choose(rated: list[Rated], *, asked_for: bool) -> tuple[Attempt, str]:
    """Return the attempt to take and the reason in a sentence."""
    compared = [(entry.aicc, entry.attempt) for entry in rated if entry.aicc is not None]
    if not compared:
        chosen = min((entry.attempt for entry in rated), key=lambda a: (a.solution.n_free, a.solution.chi2))
        return chosen, f"{chosen.name}: with so few pairs nothing can be compared"
    lowest, best = min(compared, key=lambda pair: pair[0])
    close = [(aicc, attempt) for aicc, attempt in compared if aicc <= lowest + AICC_EARNED]
    aicc, chosen = min(close, key=lambda pair: (pair[1].solution.n_free, pair[0]))
    if asked_for:
        return chosen, f"{chosen.name}: asked for"
    if chosen is best:
        return chosen, f"{chosen.name}: the lowest AICc, {aicc:.1f}"
    return chosen, (
        f"{chosen.name}: the simplest within {AICC_EARNED:g} of the lowest AICc "
        f"({aicc:.1f}; {best.name} has {lowest:.1f})"
    )


def with_known_coefficient(chosen: Attempt, tried: list[Attempt]) -> Attempt:
    """Return the same shape with its coefficient fitted, if that says more than what is known of sensors."""
    for attempt in tried:
        fitted_well = 0 < attempt.u_coefficient_per_c <= UNKNOWN_COEFFICIENT_PER_C
        if attempt.name == with_temperature(chosen.name) and fitted_well:
            return attempt
    return chosen
