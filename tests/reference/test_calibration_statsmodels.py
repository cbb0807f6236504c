"""Ordinary and weighted fits against statsmodels on random data."""

import numpy as np
import pytest

from calibrate.fits.fit import fit
from tests.calibrate.making import make_points


@pytest.mark.parametrize("seed", range(5))
def test_weighted_fits_of_several_channels_agree(seed):
    import statsmodels.api as sm

    rng = np.random.default_rng(seed)
    n = int(rng.integers(8, 30))
    levels = rng.uniform(50, 2000, (n, 2))
    u_uvi = rng.uniform(0.02, 0.2, n)
    uvi = 0.5 + levels @ [0.003, 0.001] + u_uvi * rng.standard_normal(n)
    points = make_points(
        list(zip(levels, uvi, strict=True)), channels=("uva_counts", "uvb_counts"), u_uvi=u_uvi
    )
    found = fit(points, model="line")
    theirs = sm.WLS(uvi, sm.add_constant(levels), weights=u_uvi**-2).fit(
        cov_type="fixed scale", cov_kwds={"scale": 1.0}
    )
    names = ("intercept", "slope.uva_counts", "slope.uvb_counts")
    assert [found.coefficients[name] for name in names] == pytest.approx(theirs.params, rel=1e-9)
    assert [found.standard_errors[name] for name in names] == pytest.approx(theirs.bse, rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_ordinary_fits_agree_and_so_do_their_predictions(seed):
    import statsmodels.api as sm

    rng = np.random.default_rng(50 + seed)
    x = rng.uniform(100, 2000, 12)
    y = 0.2 + 0.004 * x + 0.1 * rng.standard_normal(12)
    found = fit(make_points(list(zip(x, y, strict=True))), model="line")
    theirs = sm.OLS(y, sm.add_constant(x)).fit()
    assert found.coefficients["intercept"] == pytest.approx(theirs.params[0], rel=1e-9)
    assert found.standard_errors["slope.uva_counts"] == pytest.approx(theirs.bse[1], rel=1e-9)
    at = np.array([[150.0, 900.0, 2500.0]])
    evaluated = found.model.evaluate(at)
    by_parameter = np.concatenate((-evaluated.by_net, evaluated.by_shape))
    u = np.sqrt(((found.covariance @ by_parameter) * by_parameter).sum(axis=0))
    predicted = theirs.get_prediction(sm.add_constant(at[0]))
    assert evaluated.uvi == pytest.approx(predicted.predicted_mean, rel=1e-9)
    assert u == pytest.approx(predicted.se_mean, rel=1e-9)
