"""The bounds of a lamp's farther place against a published formula and an independent integration."""

import math
from itertools import combinations

import numpy as np
import pytest

from exposure.placement import farther_cm

# Keitz 1971, Light Calculations and Measurements: E = P/(2π²DL)·(2α + sin 2α), tan α = L/(2D).  Values
# computed from the formula in double precision; each confirmed below by integrating the line source.
KEITZ = [
    # power W, length m, distance m, irradiance W/m², decimals given
    (1.0, 0.55, 0.10, 2.842876),
    (1.0, 0.55, 0.30, 0.761481),
    (1.0, 0.55, 0.60, 0.248246),
    (1.0, 0.50, 0.30, 0.80147863),
    (2.0, 1.20, 0.15, 1.75748548),
    (0.8, 0.30, 1.00, 0.07986520),
]
POINTS, WEIGHTS = np.polynomial.legendre.leggauss(400)


def tube_w_m2(power, length, distance):
    """Integrate a matt line: an element dx of power P/L dx in all radiates P/(π²L) dx · sin θ a steradian,
    θ from the line's direction, and it falls at cos φ = sin θ on a surface that faces the middle."""
    x = POINTS * length / 2
    r_squared = x**2 + distance**2
    integrand = power / (math.pi**2 * length) * distance**2 / r_squared / r_squared
    return float((WEIGHTS * integrand).sum() * length / 2)


@pytest.mark.parametrize(("power", "length", "distance", "expected"), KEITZ)
def test_the_published_formula_is_the_integral_over_a_matt_line(power, length, distance, expected):
    assert tube_w_m2(power, length, distance) == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("near_m", "far_m"), list(combinations([0.15, 0.20, 0.25, 0.30, 0.45], 2)))
@pytest.mark.parametrize("length", [0.05, 0.3, 0.55, 1.2])
def test_a_bare_lamp_of_any_length_lies_between_the_bounds(length, near_m, far_m):
    times = tube_w_m2(1.0, length, near_m) / tube_w_m2(1.0, length, far_m)
    bounds = farther_cm(100 * near_m, times)
    assert (bounds is None) == (times > 3)
    if bounds is not None:
        assert bounds[0] <= 100 * far_m <= bounds[1]


def test_a_lamp_small_against_its_distance_stands_at_the_nearer_bound():
    # UVI 3.0 at 30 cm is 4/3 at 45 cm by the inverse square
    assert farther_cm(30.0, 3.0 / (4 / 3))[0] == pytest.approx(45)
