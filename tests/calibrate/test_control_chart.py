import numpy as np
import pytest

from calibrate.control_chart import Signal, chart_of_checks, control_chart


def signals(chart, kind):
    return [index for index, why in chart.signals if why is kind]


def test_a_jump_is_seen_at_once():
    chart = control_chart(np.array([1.0, 1.01, 0.99, 1.2]), centre=1.0, sigma=0.02)
    assert signals(chart, Signal.BEYOND_LIMIT) == [3]


def test_a_slow_drift_is_seen_before_any_check_is_beyond_its_limit():
    chart = control_chart(1 + 0.005 * np.arange(12), centre=1.0, sigma=0.02)
    assert signals(chart, Signal.BEYOND_LIMIT) == []
    assert signals(chart, Signal.DRIFT)


def test_eight_on_one_side_are_a_run():
    chart = control_chart(np.array([0.99, *[1.001] * 8, 0.999]), centre=1.0, sigma=0.02)
    assert signals(chart, Signal.RUN) == [8]


def test_checks_that_scatter_as_they_should_give_no_signal():
    chart = chart_of_checks(np.array([1.02, 0.98, 1.0, 1.01, 0.99]), np.full(5, 0.03))
    assert chart.signals == ()
    assert chart.centre == 1
    assert chart.sigma == pytest.approx(0.03)


def test_after_eight_checks_these_set_the_centre_so_that_an_old_offset_is_no_news():
    ratios = 1.1 + np.array([0.01, -0.01, 0.02, -0.02, 0.0, 0.01, -0.01, 0.0, 0.01])
    chart = chart_of_checks(ratios, np.full(9, 0.03))
    assert chart.centre == pytest.approx(1.1, abs=0.001)
    assert chart.signals == ()


def test_a_chart_of_nothing_is_empty():
    assert len(chart_of_checks(np.empty(0), np.empty(0)).ewma) == 0


def test_equal_checks_do_not_make_limits_of_no_width():
    chart = chart_of_checks(np.full(9, 1.0), np.full(9, 0.03))
    assert chart.sigma == pytest.approx(0.03)
