import math
from datetime import date, timedelta

import numpy as np
import pytest

from exposure.bands import Band
from exposure.lamp_days import LampDay
from exposure.lamps import LampState, lamp_report

BAND = Band(1.0, 2.6, 2.9)
FIRST = date(2024, 1, 1)


def days_of(levels, *, hours=12.0, coverage=1.0, first=FIRST):
    return [
        LampDay(
            first + timedelta(days=n),
            coverage,
            hours * coverage,
            1,
            None if level is None else float(level),
            0.1,
            5.0,
        )
        for n, level in enumerate(levels)
    ]


def ageing(n, per_week, *, start=1.6, scatter=0.02, rho=0.3, seed=0):
    rng = np.random.default_rng(seed)
    errors = rng.normal(0, scatter, n)
    for i in range(1, n):
        errors[i] = rho * errors[i - 1] + math.sqrt(1 - rho**2) * errors[i]
    return start * np.exp(math.log1p(per_week) / 7 * np.arange(n) + errors)


def test_in_its_first_hundred_hours_a_lamp_gets_no_verdict():
    report = lamp_report(days_of([2.0, 1.9, 1.8, 1.75, 1.7, 1.68, 1.66, 1.65]), BAND)
    assert report.state == LampState.BURNING_IN
    assert report.hours_on == 96
    assert report.switch_ons == 8
    assert report.baseline_uvi is report.per_week is report.replace_by is None
    assert report.forecasts == ()


def test_the_fast_fall_of_the_burn_in_is_not_in_the_baseline_nor_in_the_trend():
    levels = np.concatenate([2.5 - 0.1 * np.arange(9), np.full(40, 1.6)])
    report = lamp_report(days_of(levels), BAND)
    assert report.baseline_uvi == pytest.approx(1.6)
    assert report.state == LampState.STEADY
    assert report.steps == ()


def test_a_lamp_that_has_burned_elsewhere_brings_its_hours():
    report = lamp_report(days_of(np.full(12, 1.6)), BAND, hours_before=200)
    assert report.hours_on == 344
    assert report.state == LampState.STEADY


def test_a_few_days_after_the_burn_in_are_no_trend():
    assert lamp_report(days_of(np.full(15, 1.6)), BAND).state == LampState.TOO_FEW_DAYS


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("per_week", "state"),
    [(-0.02, LampState.FADING), (0.02, LampState.RISING), (0.0, LampState.STEADY)],
)
def test_fading_rising_and_steady_are_told_apart(per_week, state, seed):
    report = lamp_report(days_of(ageing(75, per_week, seed=seed)), BAND)
    assert report.state == state
    assert report.per_week_low <= report.per_week <= report.per_week_high
    assert report.per_week == pytest.approx(per_week, abs=0.008)


def test_a_fading_lamp_has_a_day_on_which_it_leaves_the_band_and_one_to_replace_it_by():
    report = lamp_report(days_of(ageing(75, -0.02)), BAND)
    by_limit = {forecast.limit: forecast for forecast in report.forecasts}
    assert set(by_limit) == {"low", "due"}
    truth = FIRST + timedelta(days=math.log(1.0 / 1.6) / (math.log1p(-0.02) / 7))
    assert by_limit["low"].earliest <= truth <= by_limit["low"].latest
    assert by_limit["low"].limit_uvi == 1.0
    assert report.replace_by == min(forecast.earliest for forecast in report.forecasts)
    assert report.replace_by > FIRST + timedelta(days=74)


def test_a_rising_lamp_is_forecast_to_pass_the_top_of_the_band_and_the_ceiling():
    report = lamp_report(days_of(ageing(75, 0.02)), BAND)
    assert [forecast.limit for forecast in report.forecasts] == ["high", "ceiling"]
    assert report.forecasts[0].expected < report.forecasts[1].expected
    assert report.replace_by is None


@pytest.mark.parametrize("per_week", [-0.02, 0.02, -0.01])
def test_the_interval_of_the_forecast_holds_the_truth_nearly_always(per_week):
    inside = total = 0
    limit = 1.0 if per_week < 0 else 2.6
    truth = FIRST + timedelta(days=math.log(limit / 1.6) / (math.log1p(per_week) / 7))
    for seed in range(60):
        report = lamp_report(days_of(ageing(45 + seed % 30, per_week, seed=seed)), BAND)
        for forecast in report.forecasts:
            if forecast.limit in ("low", "high"):
                total += 1
                inside += forecast.earliest <= truth and (forecast.latest is None or truth <= forecast.latest)
    assert total > 30
    assert inside / total >= 0.93


def test_a_level_already_out_is_due_today():
    report = lamp_report(days_of(ageing(120, -0.04, start=1.6)), BAND)
    low = next(forecast for forecast in report.forecasts if forecast.limit == "low")
    assert low.expected == FIRST + timedelta(days=119)


def test_a_step_is_named_as_one_and_not_taken_for_ageing():
    levels = ageing(100, 0.0)
    levels[60:] *= 0.7
    report = lamp_report(days_of(levels), BAND)
    (step,) = report.steps
    assert abs((step.date - FIRST).days - 60) <= 2
    assert step.ratio == pytest.approx(0.7, abs=4 * step.u_ratio)
    assert report.state == LampState.STEADY
    assert report.baseline_uvi == pytest.approx(1.6 * 0.7, rel=0.05)


def test_after_a_step_there_is_no_verdict_until_there_are_days_enough():
    levels = ageing(80, 0.0)
    levels[74:] *= 0.7
    report = lamp_report(days_of(levels), BAND)
    assert len(report.steps) == 1
    assert report.state == LampState.TOO_FEW_DAYS


def test_days_without_a_level_are_left_out_but_their_hours_count():
    levels = list(ageing(60, 0.0))
    levels[20:25] = [None] * 5
    report = lamp_report(days_of(levels), BAND)
    assert report.state == LampState.STEADY
    assert report.hours_on == 720


def test_unseen_time_counts_by_the_lamps_usual_day():
    whole = days_of(np.full(10, 1.6))
    half = days_of(np.full(1, 1.6), coverage=0.5, first=FIRST + timedelta(days=10))
    later = days_of(np.full(1, 1.6), first=FIRST + timedelta(days=13))  # two days without a board
    report = lamp_report([*whole, *half, *later], BAND)
    assert report.hours_seen == pytest.approx(120 + 6 + 12)
    assert report.hours_on == pytest.approx(14 * 12)


def test_a_band_from_zero_is_never_left_downwards():
    report = lamp_report(days_of(ageing(75, -0.02, start=0.5)), Band(0.0, 0.7, 1.4))
    assert [forecast.limit for forecast in report.forecasts] == ["due"]


def test_no_days_no_verdict():
    report = lamp_report([], BAND)
    assert (report.state, report.days, report.hours_on) == (LampState.BURNING_IN, 0, 0)
