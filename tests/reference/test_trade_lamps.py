"""Lamp trends against an independent implementation, and against what careful keepers report."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import theilslopes

from exposure.bands import Band
from exposure.lamp_days import LampDay
from exposure.lamps import LampState, lamp_report
from exposure.theil_sen import theil_sen


@pytest.mark.parametrize("n", [5, 8, 21, 60, 150])
@pytest.mark.parametrize("ties", [False, True])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_the_trend_is_that_of_scipy(n, ties, confidence):
    # scipy.stats.theilslopes implements Sen 1968, J. Am. Stat. Assoc. 63:1379-1389, independently of us
    rng = np.random.default_rng(n)
    x = np.sort(rng.uniform(0, 100, n))
    y = 0.3 * x + rng.standard_t(2, n)
    if ties:
        x, y = np.round(x, -1), np.round(y)
    theirs = theilslopes(y, x, confidence)
    ours = theil_sen(x, y, confidence)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-12, abs=1e-12)
    assert ours.low == pytest.approx(theirs.low_slope, rel=1e-12, abs=1e-12)
    assert ours.high == pytest.approx(theirs.high_slope, rel=1e-12, abs=1e-12)
    assert ours.at(0) == pytest.approx(theirs.intercept, rel=1e-12, abs=1e-12)


def days_of(levels):
    first = date(2024, 1, 1)
    return [
        LampDay(first + timedelta(days=n), 1.0, 12.0, 1, float(level), 0.1, 5.0)
        for n, level in enumerate(levels)
    ]


def test_a_lamp_of_four_times_its_package_claim_after_100_hours_is_seen_as_such():
    # common practice, no source: a lamp read four times its package claim after 100 h of burn-in
    report = lamp_report(days_of(np.full(30, 6.0)), Band(1.0, 2.6, 7.4), claim_uvi=1.5)
    assert report.times_claim == pytest.approx(4.0)


def test_a_lamp_on_its_way_to_uvi_15_at_ten_months_is_seen_rising_two_weeks_before_the_ceiling():
    # common practice, no source: a lamp read UVI 15 at ten months; readings rise with age.  Here from 2.0.
    n, scatter = 300, 0.03
    rng = np.random.default_rng(10)
    truth = 2.0 * (15 / 2.0) ** (np.arange(n) / n)
    passes = int(np.argmax(truth > 2.9))
    seen = truth * np.exp(rng.normal(0, scatter, n))
    for today in range(passes):
        report = lamp_report(days_of(seen[: today + 1]), Band(1.0, 2.6, 2.9))
        if report.state == LampState.RISING and report.forecasts:
            break
    assert passes - today >= 14
    assert report.forecasts[-1].limit == "ceiling"


def test_a_lamp_at_less_than_seven_tenths_of_its_100_hour_baseline_is_due():
    # common practice, no source: replace below 70 % of the baseline, or out of the band
    levels = np.concatenate([np.full(30, 4.0), 4.0 * 0.985 ** np.arange(40)])
    report = lamp_report(days_of(levels), Band(1.0, 7.4, 7.4))
    assert report.replace_by == date(2024, 1, 1) + timedelta(days=69)
    assert [forecast.limit for forecast in report.forecasts][-1] == "due"
