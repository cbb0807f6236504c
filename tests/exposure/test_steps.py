import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exposure.steps import find_steps


def series(n=120, *, steps=(), per_week=-0.01, scatter=0.02, rho=0.0, season=0.0, outliers=0, seed=0):
    rng = np.random.default_rng(seed)
    days = np.arange(n, dtype=float)
    errors = rng.normal(0, scatter, n)
    for i in range(1, n):
        errors[i] = rho * errors[i - 1] + np.sqrt(1 - rho**2) * errors[i]
    logs = np.log1p(per_week) / 7 * days + errors + season * np.sin(2 * np.pi * days / 365)
    for at, ratio in steps:
        logs[at:] += np.log(ratio)
    logs[rng.choice(n, outliers, replace=False)] -= 0.4
    return days, 2 * np.exp(logs)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("at", "ratio"), [(60, 0.8), (60, 1.3), (60, 0.88), (114, 0.75)])
def test_a_step_is_found_where_it_is_and_as_large_as_it_is(at, ratio, seed):
    (step,) = find_steps(*series(steps=[(at, ratio)], seed=seed))
    assert abs(step.index - at) <= 2
    assert step.ratio == pytest.approx(ratio, abs=4 * step.u_ratio)
    assert step.u_ratio < 0.05


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    "what",
    [
        {},
        {"per_week": -0.03},
        {"per_week": 0.03},
        {"n": 365, "season": 0.05},
        {"outliers": 6},
        {"n": 240, "rho": 0.5},
        {"scatter": 0.06},
        {"n": 20},
    ],
)
def test_ageing_seasons_noise_and_single_bad_days_are_no_steps(what, seed):
    assert find_steps(*series(**what, seed=seed)) == ()


def test_a_plant_that_comes_and_goes_makes_two_steps():
    steps = find_steps(*series(steps=[(50, 0.7), (80, 1 / 0.7)]))
    assert [abs(step.index - at) <= 2 for step, at in zip(steps, (50, 80), strict=True)] == [True, True]


def test_a_bend_in_the_ageing_is_no_step():
    days = np.arange(120.0)
    logs = np.where(days < 60, 0.0, -0.01 * (days - 60)) + np.random.default_rng(4).normal(0, 0.01, 120)
    assert find_steps(days, np.exp(logs)) == ()


def test_missing_days_are_no_steps_and_hide_none():
    days, levels = series(steps=[(60, 0.8)])
    keep = (days < 30) | (days > 45)
    (step,) = find_steps(days[keep], levels[keep])
    assert abs(days[keep][step.index] - 60) <= 2


def test_too_few_days_show_none():
    days, levels = series(n=7, steps=[(4, 0.5)])
    assert find_steps(days, levels) == ()


@settings(max_examples=50, deadline=None)
@given(st.integers(8, 60), st.floats(0.001, 1000), st.integers(0, 2**32 - 1))
def test_the_unit_of_the_level_does_not_matter(n, factor, seed):
    days, levels = series(n=n, steps=[(n // 2, 0.7)], seed=seed)
    assert [step.index for step in find_steps(days, levels)] == [
        step.index for step in find_steps(days, levels * factor)
    ]


def test_a_level_that_never_moves_has_no_step():
    assert find_steps(np.arange(30.0), np.full(30, 2.0)) == ()
