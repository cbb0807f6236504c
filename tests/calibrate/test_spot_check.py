from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.calibration import Uncertainty
from calibrate.points import ReferenceMeter
from calibrate.spot_check import (
    Change,
    Moved,
    MovedOfTwo,
    Verdict,
    spot_check,
    verdict_of,
    what_moved,
    which_moved,
)

METER = ReferenceMeter(u_relative=0.05, u_zero_uvi=0.0, resolution_uvi=0.0)


def test_e_n_is_the_difference_over_its_expanded_uncertainty():
    # U_x = 2·0.2, U_X = 2·0.05·3: E_n = 0.5 / sqrt(0.4² + 0.3²) = 1
    check = spot_check(3.5, 0.2, 3.0, METER)
    assert check.e_n == pytest.approx(1.0)
    assert check.verdict is Verdict.WITHIN
    assert check.ratio == pytest.approx(3 / 3.5)


@pytest.mark.parametrize(
    ("e_n", "verdict"),
    [(0, "within"), (-1, "within"), (1.01, "doubtful"), (-1.5, "doubtful"), (1.51, "out"), (-inf, "out")],
)
def test_the_verdict_parts_at_1_and_1_5(e_n, verdict):
    assert verdict_of(e_n) == verdict


def test_the_meter_that_calibrated_cannot_excuse_a_difference():
    calibration = Uncertainty(((0.0,),), reference_relative=0.05)
    u_uvi = 0.05 * 3.0  # all of it from the meter
    other = spot_check(3.0, u_uvi, 3.3, METER, u_repeat_uvi=0.05)
    same = spot_check(3.0, u_uvi, 3.3, METER, u_repeat_uvi=0.05, calibrated_with_it=calibration)
    assert other.verdict is Verdict.WITHIN
    assert same.verdict is Verdict.OUT
    assert same.u_ratio < other.u_ratio


@given(st.floats(0.1, 20), st.floats(0, 2), st.floats(0.1, 20), st.floats(0, 0.5))
def test_the_sign_of_e_n_is_that_of_the_difference(uvi, u_uvi, reference, u_repeat):
    check = spot_check(uvi, u_uvi, reference, METER, u_repeat_uvi=u_repeat)
    assert (check.e_n > 0) == (uvi > reference)
    assert (check.ratio < 1) == (uvi > reference)


def test_without_any_uncertainty_a_difference_is_out():
    perfect = ReferenceMeter()
    assert spot_check(2.0, 0.0, 2.0, perfect).verdict is Verdict.WITHIN
    assert spot_check(2.0, 0.0, 2.1, perfect).e_n == -inf


def test_nothing_can_be_checked_in_the_dark():
    with pytest.raises(ValueError, match="above 0"):
        spot_check(0.0, 0.1, 1.0, METER)


@pytest.mark.parametrize(
    ("running", "reference", "moved"),
    [
        (1.01, 1.0, Moved.NOTHING),
        (0.7, 0.7, Moved.LIGHT),
        (0.7, 1.0, Moved.SENSOR),
        (0.5, 0.7, Moved.BOTH),
        (1.0, 1.3, Moved.BOTH),
    ],
)
def test_a_reference_reading_tells_light_from_sensor(running, reference, moved):
    assert what_moved(Change(running, 0.03), Change(reference, 0.03)) is moved


@pytest.mark.parametrize(
    ("first", "second", "moved"),
    [
        (1.01, 0.99, MovedOfTwo.NOTHING),
        (0.7, 0.72, MovedOfTwo.LIGHT),
        (0.7, 1.0, MovedOfTwo.FIRST),
        (1.0, 1.4, MovedOfTwo.SECOND),
        (0.5, 0.8, MovedOfTwo.UNCLEAR),
    ],
)
def test_two_sensors_tell_which_of_them_or_the_light(first, second, moved):
    assert which_moved(Change(first, 0.03), Change(second, 0.03)) is moved


def test_two_sensors_together_see_a_smaller_change_than_one_alone():
    assert not Change(0.95, 0.03).is_change()
    assert which_moved(Change(0.95, 0.03), Change(0.95, 0.03)) is MovedOfTwo.LIGHT
