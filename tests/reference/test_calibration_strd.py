"""Straight lines against the certified values of NIST's Statistical Reference Datasets (public domain).

https://www.itl.nist.gov/div898/strd/lls/lls.shtml, files Norris.dat, NoInt1.dat and NoInt2.dat.
"""

import pytest

from calibrate.fits.fit import fit
from tests.calibrate.making import make_points

# Norris, J., NIST, Calibration of Ozone Monitors: y, x.
NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6
557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1
888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""


def pairs_of(text):
    numbers = [float(word) for word in text.split()]
    return [(x, y) for y, x in zip(numbers[::2], numbers[1::2], strict=True)]


def test_norris_to_its_certified_digits():
    found = fit(make_points(pairs_of(NORRIS)), model="line")
    assert found.coefficients["intercept"] == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.coefficients["slope.uva_counts"] == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.standard_errors["intercept"] == pytest.approx(0.232818234301152, rel=1e-11)
    assert found.standard_errors["slope.uva_counts"] == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert found.reduced_chi2**0.5 == pytest.approx(0.884796396144373, rel=1e-11)
    assert found.reduced_chi2 * found.degrees_of_freedom == pytest.approx(26.6173985294224, rel=1e-11)
    assert found.degrees_of_freedom == 34


def test_norris_is_seen_to_be_a_straight_line():
    found = fit(make_points(pairs_of(NORRIS)))
    assert found.name in ("proportional", "line")


def test_noint1_to_its_certified_digits():
    found = fit(make_points([(x, x + 70.0) for x in range(60, 71)]), model="proportional")
    assert found.coefficients["slope.uva_counts"] == pytest.approx(2.07438016528926, rel=1e-14)
    assert found.standard_errors["slope.uva_counts"] == pytest.approx(0.165289256198347e-1, rel=1e-12)
    assert found.reduced_chi2**0.5 == pytest.approx(3.56753034006338, rel=1e-12)
    assert found.degrees_of_freedom == 10


def test_noint2_to_its_certified_digits():
    found = fit(make_points([(4, 3), (5, 4), (6, 4)]), model="proportional")
    assert found.coefficients["slope.uva_counts"] == pytest.approx(0.727272727272727, rel=1e-14)
    assert found.standard_errors["slope.uva_counts"] == pytest.approx(0.420827318078432e-1, rel=1e-12)
    assert found.reduced_chi2**0.5 == pytest.approx(0.369274472937998, rel=1e-12)
    assert found.degrees_of_freedom == 2
