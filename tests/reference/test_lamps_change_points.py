"""Steps in series whose truth is known: how many are found, where, and how many are invented."""

import numpy as np
import pytest

from exposure.steps import find_steps


def drawn(seed, *, n=90, scatter=0.015, rho=0.5, per_week=0.0, step=None):
    """A level with first-order autoregressive scatter, as weather gives; `step` is (day, ratio)."""
    rng = np.random.default_rng(seed)
    errors = rng.normal(0, scatter, n)
    for day in range(1, n):
        errors[day] = rho * errors[day - 1] + np.sqrt(1 - rho**2) * errors[day]
    level = 1.8 * np.exp(np.log1p(per_week) / 7 * np.arange(n) + errors)
    if step is not None:
        level[step[0] :] *= step[1]
    return np.arange(n, dtype=float), level


@pytest.mark.parametrize("per_week", [-0.02, 0.0, 0.02])
def test_where_nothing_stepped_hardly_a_step_of_a_tenth_is_found(per_week):
    series = [find_steps(*drawn(seed, per_week=per_week)) for seed in range(150)]
    assert sum(any(abs(step.ratio - 1) >= 0.1 for step in steps) for steps in series) <= 1


@pytest.mark.parametrize("ratio", [0.75, 0.85, 1.2])
@pytest.mark.parametrize("per_week", [-0.02, 0.0, 0.02])
def test_a_step_is_found_on_its_day_with_its_size(ratio, per_week):
    found = [find_steps(*drawn(seed, per_week=per_week, step=(50, ratio))) for seed in range(60)]
    right = [
        steps
        for steps in found
        if len(steps) == 1 and abs(steps[0].index - 50) <= 1 and abs(steps[0].ratio / ratio - 1) < 0.05
    ]
    assert len(right) >= 57


@pytest.mark.parametrize("shaded_days", [1, 2, 3])
def test_a_few_shaded_days_are_no_step_neither_while_they_last_nor_after(shaded_days):
    for seed in range(10):
        days, level = drawn(seed, scatter=0.008, n=110)
        level[80 : 80 + shaded_days] *= 0.4
        for n in range(81, 100):
            assert find_steps(days[:n], level[:n]) == ()


def test_the_fall_of_a_river_drowns_in_its_scatter_and_is_not_claimed():
    # Annual flow of the Nile at Aswan fell by about a quarter in 1898, with years that differ by 15 %
    # (G.W. Cobb 1978, Biometrika 65:243-251; the data as statsmodels ships them).  Two decades of such years
    # on each side do not make four standard uncertainties: what is not certain is not told.
    nile = pytest.importorskip("statsmodels.datasets").nile.load_pandas().data
    year, flow = nile["year"].to_numpy(float), nile["volume"].to_numpy(float)
    assert find_steps(year, flow) == ()
    # A tenth of the scatter about the same two levels leaves no doubt about the year.
    level = np.where(year < 1899, 1098.0, 850.0)
    (step,) = find_steps(year, level * (flow / level) ** 0.1)
    assert year[step.index] == 1899
    assert step.ratio == pytest.approx(850 / 1098, rel=0.03)
