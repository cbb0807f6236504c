"""GUM example H.3: a thermometer calibrated by a straight line (JCGM 100:2008, H.3).

Published: y1 = -0.1712, u 0.0029; y2 = 0.00218, u 0.00067; r = -0.930; s = 0.0035; and the correction at
30 °C is -0.1494 with u 0.0041.  More digits: the same formulas in double precision.
"""

import numpy as np
import pytest

from calibrate.fits.shapes import line_shape
from calibrate.fits.solve import Problem, solve

T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
B = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])


@pytest.fixture(scope="module")
def found():
    above_20 = (T - 20)[:, np.newaxis]
    problem = Problem(
        above_20,
        np.zeros((11, 1)),
        B,
        np.ones(11),
        np.zeros(1),
        np.zeros(1),
        temperature_above_c=np.zeros(11),
    )
    return solve(problem, line_shape(("t",), above_20, B, intercept=True, bounded=False))


def test_the_line_and_its_uncertainties_are_the_published_ones(found):
    variance = found.chi2 / 9
    assert found.model.intercept == pytest.approx(-0.171203790131, rel=1e-9)
    assert found.model.slope[0] == pytest.approx(0.002182697739887, rel=1e-9)
    covariance = found.covariance[1:, 1:] * variance
    u_slope, u_intercept = np.sqrt(covariance.diagonal())
    assert u_intercept == pytest.approx(0.00287759784, rel=1e-8)
    assert u_slope == pytest.approx(0.00066793877, rel=1e-8)
    assert covariance[0, 1] / (u_slope * u_intercept) == pytest.approx(-0.93042960309, rel=1e-9)
    assert variance**0.5 == pytest.approx(0.00349756396, rel=1e-8)


def test_the_correction_at_30_c_has_the_published_uncertainty_because_the_two_are_correlated(found):
    evaluated = found.model.evaluate(np.array([[10.0]]))
    gradient = np.concatenate((-evaluated.by_net, evaluated.by_shape))[:, 0]
    covariance = found.covariance * found.chi2 / 9
    assert evaluated.uvi[0] == pytest.approx(-0.149376812732, rel=1e-9)
    assert np.sqrt(gradient @ covariance @ gradient) == pytest.approx(0.00413859575, rel=1e-8)
    uncorrelated = np.sqrt(gradient**2 @ covariance.diagonal())
    assert uncorrelated == pytest.approx(0.0073, abs=0.0001)
