import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposure.theil_sen import theil_sen, widening_for


@given(st.floats(-5, 5), st.floats(-50, 50), st.integers(5, 40))
def test_points_on_a_line_give_that_line(slope, start, n):
    x = np.arange(n, dtype=float)
    trend = theil_sen(x, start + slope * x)
    assert trend.slope == pytest.approx(slope, abs=1e-9)
    assert trend.at(0) == pytest.approx(start, abs=1e-7)
    assert trend.low <= trend.slope + 1e-12
    assert trend.high >= trend.slope - 1e-12


def test_a_quarter_of_wild_points_does_not_move_the_trend():
    rng = np.random.default_rng(2)
    x = np.arange(60.0)
    y = 0.5 * x + rng.normal(0, 0.1, 60)
    y[rng.choice(60, 15, replace=False)] += 40
    assert theil_sen(x, y).slope == pytest.approx(0.5, abs=0.15)


def test_the_interval_holds_as_often_as_it_says():
    rng = np.random.default_rng(11)
    x = np.arange(30.0)
    hits = 0
    for _ in range(400):
        trend = theil_sen(x, 0.1 * x + rng.normal(0, 1, 30))
        hits += trend.low <= 0.1 <= trend.high
    assert 0.92 <= hits / 400 <= 0.98


def test_widened_it_holds_for_errors_that_resemble_their_neighbours():
    rng = np.random.default_rng(12)
    x = np.arange(60.0)
    plain_hits = widened_hits = 0
    for _ in range(300):
        errors = rng.normal(0, 1, 60)
        for i in range(1, 60):
            errors[i] = 0.5 * errors[i - 1] + np.sqrt(0.75) * errors[i]
        y = 0.1 * x + errors
        plain = theil_sen(x, y)
        residuals = y - plain.slope * x
        widened = theil_sen(x, y, widening=widening_for(residuals))
        plain_hits += plain.low <= 0.1 <= plain.high
        widened_hits += widened.low <= 0.1 <= widened.high
    assert plain_hits / 300 < 0.85
    assert widened_hits / 300 > 0.9


def test_independent_or_still_residuals_widen_nothing_or_little():
    assert widening_for(np.zeros(20)) == 1.0
    assert widening_for(np.random.default_rng(1).normal(0, 1, 2000)) < 1.06
    assert widening_for(np.array([1.0, -1.0] * 20)) == 1.0
