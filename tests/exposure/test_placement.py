"""How much farther a lamp would have to hang, and what the advice says of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag
from exposure.bands import Band
from exposure.events import EventKind
from exposure.kinds import KINDS
from exposure.placement import farther_cm
from exposure.rules import RuleSettings
from exposure.watch import SpotWatch
from tests.exposure.series import every

BAND = Band(1.0, 2.6, 3.0)


def advice_at(uvi, *, lamp_cm=32.0, minutes=5, flags=0):
    watch = SpotWatch("rock", BAND, RuleSettings(), lamp_cm=lamp_cm)
    events = watch.observe(every(10, [uvi] * (6 * minutes), 0.05, flags))
    (event,) = [event for event in events if event.kind in (EventKind.OVER_CEILING, EventKind.ABOVE_BAND)]
    return event.kind, event.advice


@given(st.floats(5, 200), st.floats(1.001, 3.0))
def test_the_bounds_lie_apart_and_farther_off(distance_cm, times):
    nearer_cm, farthest_cm = farther_cm(distance_cm, times)
    assert distance_cm < nearer_cm < farthest_cm


@pytest.mark.parametrize("times", [0.5, 1.0, 3.01, float("nan")])
def test_nothing_is_reckoned_where_nobody_should(times):
    assert farther_cm(30.0, times) is None


def test_the_advice_of_a_lamp_too_near_says_how_far_and_how_that_was_reckoned():
    # 3.9 is 1.5 times 2.6: 32 x sqrt(1.5) = 39.2, 32 x 1.5 = 48
    kind, advice = advice_at(3.9)
    assert kind is EventKind.OVER_CEILING
    assert advice.startswith(KINDS[kind].advice)
    assert "the lamp is 32 cm away now" in advice
    assert "from 40 to 48 cm on" in advice
    assert "reckoned, not measured" in advice
    assert advice.endswith("begin with the farther")
    assert "." not in advice


def test_above_the_band_it_says_so_too():
    kind, advice = advice_at(2.8, minutes=40)
    assert kind is EventKind.ABOVE_BAND
    assert "from 34 to 35 cm on" in advice


@pytest.mark.parametrize(("uvi", "lamp_cm"), [(8.0, 32.0), (3.9, None)])
def test_far_too_strong_or_at_an_unknown_distance_no_number_is_given(uvi, lamp_cm):
    kind, advice = advice_at(uvi, lamp_cm=lamp_cm)
    assert advice == KINDS[kind].advice


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.ABOVE_RANGE])
def test_of_light_that_may_be_stronger_than_it_was_seen_no_number_is_given(flag):
    kind, advice = advice_at(3.9, flags=int(flag))
    assert advice == KINDS[kind].advice


def test_too_little_light_is_no_reason_to_reckon_a_lamp_nearer():
    watch = SpotWatch("rock", BAND, RuleSettings(), lamp_cm=32.0)
    (event,) = watch.observe(every(10, [0.5] * 400, 0.02))
    assert event.advice == KINDS[EventKind.UNDER_BAND].advice
