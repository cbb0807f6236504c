"""The previtamin D3 action spectrum against what is published about it."""

import numpy as np
import pytest

from calibrate.spectra import Nature, Spectrum
from calibrate.vitamin_d3 import vitamin_d3_effective_w_m2, vitamin_d3_weight


def test_it_runs_from_252_to_330_nm_each_nm_and_peaks_at_298():
    # CIE 174:2006 as public tools carry it.
    weight = vitamin_d3_weight()
    assert weight.wavelength_nm == pytest.approx(np.arange(252, 331))
    assert weight.wavelength_nm[weight.value.argmax()] == 298
    assert weight.value.max() == 1


# Anchors out of the middle of the same table, read from a second, independent tool than the file.
@pytest.mark.parametrize(
    ("nm", "weight"), [(252, 0.036), (281, 0.543), (303, 0.771), (315, 0.034), (330, 7.8e-5)]
)
def test_values_are_the_tables(nm, weight):
    assert vitamin_d3_weight().at(np.array([float(nm)]))[0] == pytest.approx(weight)


def test_outside_it_is_zero():
    assert vitamin_d3_weight().at(np.array([251.0, 331.0])).tolist() == [0, 0]


def test_beyond_its_peak_it_falls_at_every_nm():
    weight = vitamin_d3_weight()
    assert (np.diff(weight.value[weight.wavelength_nm >= 298]) < 0).all()


def test_a_line_is_weighted_with_its_value():
    line = Spectrum(np.array([250.0, 400.0]), np.zeros(2), "test", Nature.MEASURED, 0.0, (303.0,), (2.0,))
    assert vitamin_d3_effective_w_m2(line) == pytest.approx(2 * 0.771)
