"""Errors in both variables: Pearson's data with York's weights, and odrpack on random data.

Data: Pearson 1901, Phil. Mag. 2, 559-572; weights: York 1966, Can. J. Phys. 44, 1079-1086.  Published
solution 5.4799 - 0.48053 x (from memory; a computation in double precision by the equations of York et
al. 2004, Am. J. Phys. 72, 367-375, gives the digits below, with its standard errors).
"""

import numpy as np
import pytest

from calibrate.fits.shapes import line_shape
from calibrate.fits.solve import Problem, solve

X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
U_X = 1 / np.sqrt([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
U_Y = 1 / np.sqrt([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


def straight_line(x, u_x, y, u_y):
    levels = x[:, np.newaxis]
    problem = Problem(
        levels, u_x[:, np.newaxis], y, u_y, np.zeros(1), np.zeros(1), temperature_above_c=np.zeros(len(x))
    )
    return solve(problem, line_shape(("x",), levels, y, intercept=True, bounded=False))


def test_pearsons_data_with_yorks_weights():
    found = straight_line(X, U_X, Y, U_Y)
    assert found.model.intercept == pytest.approx(5.47991022, abs=5e-9)
    assert found.model.slope[0] == pytest.approx(-0.480533407, abs=5e-10)
    u_slope, u_intercept = np.sqrt(found.covariance.diagonal()[1:])
    assert u_intercept == pytest.approx(0.294970735, abs=5e-9)
    assert u_slope == pytest.approx(0.057985009, abs=5e-9)
    assert found.chi2 == pytest.approx(11.866353, abs=5e-7)


def test_it_is_not_the_line_without_errors_in_x():
    plain = straight_line(X, np.zeros(10), Y, np.ones(10))
    assert plain.model.intercept == pytest.approx(5.761185, abs=5e-7)
    assert plain.model.slope[0] == pytest.approx(-0.539577, abs=5e-7)


@pytest.mark.parametrize("seed", range(5))
def test_odrpack_agrees_on_random_lines(seed):
    from odrpack import odr_fit

    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 25))
    truth = np.sort(rng.uniform(20, 900, n))
    u_x, u_y = rng.uniform(2, 20, n), rng.uniform(0.02, 0.2, n)
    x, y = truth + u_x * rng.standard_normal(n), 0.2 + 0.004 * truth + u_y * rng.standard_normal(n)
    found = straight_line(x, u_x, y, u_y)
    theirs = odr_fit(
        lambda x, beta: beta[0] + beta[1] * x,
        x,
        y,
        np.array([0.1, 0.005]),
        weight_x=u_x**-2,
        weight_y=u_y**-2,
        sstol=1e-14,
        partol=1e-14,
        jac_beta=lambda x, beta: np.stack((np.ones_like(x), x)),
        jac_x=lambda x, beta: np.full_like(x, beta[1]),
    )
    assert [found.model.intercept, found.model.slope[0]] == pytest.approx(theirs.beta, rel=1e-5)
    assert found.chi2 == pytest.approx(theirs.sum_square, rel=1e-6)
    # odrpack's cov_beta is the one before scaling by the residual variance, as ours is.
    ours = np.sqrt(found.covariance.diagonal()[[2, 1]])
    assert ours == pytest.approx(np.sqrt(np.diag(theirs.cov_beta)), rel=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_odrpack_agrees_on_random_power_laws(seed):
    from odrpack import odr_fit

    from calibrate.fits.shapes import power_shape

    rng = np.random.default_rng(100 + seed)
    truth = np.geomspace(40, 900, 12)
    u_x, u_y = 0.01 * truth, 0.02 + 0.01 * truth / 100
    x, y = truth + u_x * rng.standard_normal(12), 0.02 * truth**0.8 + u_y * rng.standard_normal(12)
    problem = Problem(
        x[:, np.newaxis],
        u_x[:, np.newaxis],
        y,
        u_y,
        np.zeros(1),
        np.zeros(1),
        temperature_above_c=np.zeros(12),
    )
    found = solve(problem, power_shape(("x",), x[:, np.newaxis], y))
    theirs = odr_fit(
        lambda x, beta: beta[0] * x ** beta[1],
        x,
        y,
        np.array([0.05, 0.7]),
        weight_x=u_x**-2,
        weight_y=u_y**-2,
        sstol=1e-14,
        partol=1e-14,
        jac_beta=lambda x, beta: np.stack((x ** beta[1], beta[0] * x ** beta[1] * np.log(x))),
        jac_x=lambda x, beta: beta[0] * beta[1] * x ** (beta[1] - 1),
    )
    assert [found.model.scale, found.model.exponent] == pytest.approx(theirs.beta, rel=1e-4)
    assert found.chi2 == pytest.approx(theirs.sum_square, rel=1e-5)
    ours = np.sqrt(found.covariance.diagonal()[1:])
    assert ours == pytest.approx(np.sqrt(np.diag(theirs.cov_beta)), rel=1e-2)
