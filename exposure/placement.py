"""How much farther a lamp that is too strong would have to hang: bounds, for its shape is not known here."""

import math
from typing import Final

# Beyond three times too strong another distance is a guess, and another lamp the better advice.
_MOST_TIMES: Final = 3.0


def farther_cm(distance_cm: float, times_too_strong: float) -> tuple[float, float] | None:
    """Return from where to where a lamp may have to be moved [cm]; None where nobody should reckon.

    Parameters
    ----------
    distance_cm
        How far it hangs now [cm].
    times_too_strong
        What it gives over what is wanted; over 1.

    Notes
    -----
    The UVI of a lamp small against its distance falls as 1/D², that of a bare tube close up as 1/D, and in
    between for all others: E = P / (2π² D L) · (2α + sin 2α) with tan α = L / (2D) for a bare tube.  A
    reflector makes light fall more slowly still, so the greater bound is where to begin, and measure.

    References
    ----------
    H.A.E. Keitz 1971, Light Calculations and Measurements, 2nd ed., Macmillan (the formula read in papers
    that quote it).
    """
    if not 1 < times_too_strong <= _MOST_TIMES:
        return None
    return distance_cm * math.sqrt(times_too_strong), distance_cm * times_too_strong


def raising_advice(distance_cm: float, uvi: float, wanted_uvi: float) -> str:
    """Return what may be added to the advice to raise a lamp; '' where nothing can be said."""
    bounds = farther_cm(distance_cm, uvi / wanted_uvi)
    if bounds is None:
        return ""
    nearer_cm, farthest_cm = (math.ceil(bound) for bound in bounds)
    return (
        f"; the lamp is {distance_cm:.0f} cm away now, and if nothing but that is wrong it would be down to "
        f"the band's upper end from {nearer_cm} to {farthest_cm} cm on, as bare lamps spread their light "
        "(reckoned, not measured, and a reflector asks for more): begin with the farther"
    )
