"""Erythema, UVI and dose against published numbers and against integrals done by hand."""

import numpy as np
import pytest

from calibrate.erythema import ERYTHEMA, UVI_M2_W, erythemal_weight, uvi_of
from calibrate.spectra import Nature, Spectrum, integral_of_product
from exposure.dose import SED_PER_UVI_H

# ISO/CIE 17166:2019; the values are the standard's formula, worked out in double precision.
# 0.6486 at 300 nm is also printed in public radiative-transfer code.
TABLE = {
    249.9: 0.0,
    250: 1.0,
    280: 1.0,
    298: 1.0,
    300: 6.486344e-1,
    310: 7.447320e-2,
    320: 8.550667e-3,
    328: 1.513561e-3,
    330: 1.412538e-3,
    340: 1.000000e-3,
    360: 5.011872e-4,
    380: 2.511886e-4,
    400: 1.258925e-4,
    400.1: 0.0,
}


@pytest.mark.parametrize(("nm", "weight"), TABLE.items())
def test_the_erythemal_weight_is_the_standards(nm, weight):
    assert erythemal_weight(np.array([nm]))[0] == pytest.approx(weight, rel=1e-6)


def test_the_branches_meet_at_328_nm_which_the_variant_with_139_does_not():
    below, above = erythemal_weight(np.array([328.0, 328.0 + 1e-9]))
    assert above == pytest.approx(below, rel=1e-6)


def test_the_tabulated_spectrum_is_the_formula():
    nm = np.linspace(250, 400, 9_973)
    assert ERYTHEMA.at(nm) == pytest.approx(erythemal_weight(nm), rel=2e-6)


def light(nm, value, lines=()):
    return Spectrum(
        np.array(nm, dtype=float),
        np.array(value, dtype=float),
        "test",
        Nature.MEASURED,
        0.0,
        tuple(nm for nm, _ in lines),
        tuple(value for _, value in lines),
    )


def test_a_flat_spectrum_has_the_uvi_of_its_closed_form():
    # 1 mW/(m² nm) over 280-400 nm.  Closed form of the weight's integral, by branches:
    # 18 + (1 - 10^-2.82) / (0.094 ln 10) + 10^-2.82 (1 - 10^-1.08) / (0.015 ln 10) = 22.653338 nm.
    ln10 = np.log(10)
    closed = 18 + (1 - 10**-2.82) / (0.094 * ln10) + 10**-2.82 * (1 - 10**-1.08) / (0.015 * ln10)
    assert closed == pytest.approx(22.653338, abs=1e-6)
    assert uvi_of(light([280, 400], [1e-3, 1e-3])) == pytest.approx(40e-3 * closed, rel=1e-6)


def test_a_flat_spectrum_given_each_nm_is_integrated_on_its_points():
    # 22.671338 nm by the trapezoid rule at 1 nm, summed by hand.
    nm = np.arange(280, 401)
    assert uvi_of(light(nm, np.full(121, 1e-3))) == pytest.approx(0.906854, abs=1e-6)


@pytest.mark.parametrize(("nm", "uvi"), [(280, 40.0), (298, 40.0), (310, 2.978928), (340, 0.04), (405, 0.0)])
def test_a_line_of_1_w_m2_has_the_uvi_of_its_weight(nm, uvi):
    assert uvi_of(light([250, 400], [0, 0], [(nm, 1.0)])) == pytest.approx(uvi, rel=1e-6)


def test_light_outside_the_action_spectrum_has_no_uvi():
    assert uvi_of(light([420, 700], [1.0, 1.0])) == 0


def test_uvi_and_sed_are_what_who_and_iso_say():
    # WHO 2002: 1 UVI is 25 mW/m² weighted.  ISO/CIE 17166: 1 SED is 100 J/m².  So 1 UVI for an hour is
    # 90 J/m², 0.9 SED.
    assert pytest.approx(0.025) == 1 / UVI_M2_W
    assert pytest.approx(90 / 100) == SED_PER_UVI_H


def test_a_product_is_the_same_on_a_finer_grid():
    nm = np.linspace(280, 400, 25)
    steep = np.exp((nm - 400) / 30)
    fine = np.linspace(280, 400, 12_001)
    on_fine = 40 * np.trapezoid(np.interp(fine, nm, steep) * erythemal_weight(fine), fine)
    assert uvi_of(light(nm, steep)) == pytest.approx(on_fine, rel=1e-5)
    assert integral_of_product(light(nm, steep), ERYTHEMA) == pytest.approx(on_fine / 40, rel=1e-5)
