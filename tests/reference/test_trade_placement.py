"""Irradiance over distance against closed forms, published check values and an independent integration."""

import math

import numpy as np
import pytest

from exposure.placement import CompactLamp, TubeLamp, distance_for_cm, tube_irradiance_w_m2, uvi_at

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


@pytest.mark.parametrize(("power", "length", "distance", "expected"), KEITZ)
def test_a_tube_gives_the_published_formulas_irradiance(power, length, distance, expected):
    assert tube_irradiance_w_m2(power, length, distance) == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("power", "length", "distance", "expected"), KEITZ)
def test_the_formula_is_the_integral_over_a_matt_line(power, length, distance, expected):
    # An element dx of a matt (Lambertian) line of power P radiates P/(π²L) dx · sin θ per steradian, θ from
    # the line's direction: P/L dx in all.  On a surface that faces the middle it falls at cos φ.
    x, weight = np.polynomial.legendre.leggauss(400)
    x = x * length / 2
    r_squared = x**2 + distance**2
    sin_theta = distance / np.sqrt(r_squared)  # also cos φ, the surface being parallel to the line
    integrand = power / (math.pi**2 * length) * sin_theta * sin_theta / r_squared
    assert (weight * integrand).sum() * length / 2 == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("distance_cm", "uvi"), [(20, 6.75), (45, 4 / 3), (60, 0.75)])
def test_a_compact_lamp_follows_the_inverse_square(distance_cm, uvi):
    # UVI 3.0 at 0.30 m: 3 × (0.30/d)²
    lamp = CompactLamp(size_cm=4)
    estimate = uvi_at(lamp, measured_uvi=3, u_measured_uvi=0.15, measured_cm=30, distance_cm=distance_cm)
    assert estimate.uvi == pytest.approx(uvi, rel=1e-12)


def test_far_from_a_tube_the_inverse_square_holds_and_close_up_the_plain_inverse():
    # far limit P/(π²D²), at D = 10 L still 0.17 % under it; near limit P/(2πDL)
    assert tube_irradiance_w_m2(1, 0.5, 5.0) * math.pi**2 * 25 == pytest.approx(0.99834, abs=1e-5)
    assert tube_irradiance_w_m2(1, 0.5, 1e-4) * 2 * math.pi * 1e-4 * 0.5 == pytest.approx(1, abs=1e-3)


def test_a_tube_of_55_cm_and_0_1_w_erythemal_gives_uvi_3_05_at_30_cm():
    # 0.0761481 W/m² × 40 m²/W (WHO 2002)
    assert tube_irradiance_w_m2(0.1, 0.55, 0.30) * 40 == pytest.approx(3.04592, abs=1e-5)
    lamp = TubeLamp(55)
    back = distance_for_cm(lamp, measured_uvi=3.04592, measured_cm=30, wanted_uvi=0.99298)
    assert back == pytest.approx(60, abs=1e-3)
