from datetime import date

import numpy as np
import pytest

from calibrate.samples import Flag
from exposure.days import HOUR_MS, day_bounds
from exposure.lamp_days import lamp_day
from tests.exposure.series import samples_of

DAY = day_bounds(date(2024, 6, 10), "Europe/Berlin")
UTC_MS = DAY.start_ms + np.arange(8641) * 10_000
HOUR = (UTC_MS - DAY.start_ms) / HOUR_MS


def lit(on_h=8, off_h=20, level_uvi=2.0, rise_min=8.0):
    rise = 1 - np.exp(-np.clip(HOUR - on_h, 0, None) * 60 / rise_min)
    return np.where((on_h <= HOUR) & (off_h > HOUR), level_uvi * rise, 0.0)


def day_of(uvi, flags=0, keep=slice(None)):
    u_uvi = 0.02 + 0.08 * uvi
    flags = np.broadcast_to(flags, uvi.shape)
    return lamp_day(samples_of(UTC_MS[keep], uvi[keep], u_uvi[keep], flags[keep]), DAY)


def test_a_plain_day():
    day = day_of(lit())
    assert day.date == DAY.date
    assert day.coverage == 1.0
    assert day.hours_on == pytest.approx(12, abs=0.02)
    assert day.switch_ons == 1
    assert day.level_uvi == pytest.approx(2.0, rel=0.005)
    assert day.u_level_uvi == pytest.approx(0.18, rel=0.01)
    assert day.ramp_minutes == pytest.approx(8 * np.log(10), abs=1)  # to nine tenths


def test_the_warm_up_does_not_lower_the_level():
    assert day_of(lit(on_h=18, off_h=20, rise_min=5)).level_uvi == pytest.approx(2.0, rel=0.01)


def test_a_pause_is_a_second_switch_on_and_flicker_is_none():
    paused = lit()
    paused[(HOUR > 12) & (HOUR < 13)] = 0
    assert day_of(paused).switch_ons == 2
    assert day_of(paused).hours_on == pytest.approx(11, abs=0.02)
    flickering = lit()
    flickering[(HOUR > 12) & (HOUR < 12.05)] = 0
    assert day_of(flickering).switch_ons == 1


def test_a_lamp_already_on_when_seen_was_not_seen_to_come_on():
    day = day_of(lit(), keep=HOUR > 10)
    assert day.switch_ons == 0
    assert day.ramp_minutes is None
    assert day.coverage == pytest.approx(14 / 24, abs=0.001)
    assert day.hours_on == pytest.approx(10, abs=0.02)
    burning_all_day = day_of(np.full(HOUR.shape, 2.0))
    assert (burning_all_day.switch_ons, burning_all_day.hours_on) == (0, pytest.approx(24))


def test_too_little_settled_light_is_no_level():
    day = day_of(lit(on_h=8, off_h=8.9))
    assert day.level_uvi is None
    assert day.hours_on == pytest.approx(0.9, abs=0.02)


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.NEGATIVE, Flag.TEMPERATURE, Flag.OTHER_LAMP_KIND])
def test_samples_unlike_others_do_not_make_the_level(flag):
    uvi = lit()
    uvi[HOUR > 12] *= 1.5
    assert day_of(uvi, np.where(HOUR > 12, int(flag), 0)).level_uvi == pytest.approx(2.0, rel=0.005)


def test_a_lamp_that_rises_past_what_was_calibrated_does_not_seem_to_stand_still():
    # the highest pair was at 2.0, and noise puts half of the samples beyond it
    uvi = lit() * np.random.default_rng(1).normal(1.0, 0.02, HOUR.shape)
    flags = np.where(uvi > 2.0, int(Flag.ABOVE_RANGE), 0)
    assert day_of(uvi, flags).level_uvi == pytest.approx(2.0, rel=0.005)
    assert day_of(1.5 * uvi, np.full(HOUR.shape, int(Flag.ABOVE_RANGE))).level_uvi == pytest.approx(
        3.0, rel=0.005
    )


def test_a_dark_day_and_an_unseen_day():
    dark = day_of(np.zeros(HOUR.shape))
    assert (dark.coverage, dark.hours_on, dark.switch_ons, dark.level_uvi) == (1.0, 0, 0, None)
    unseen = day_of(np.zeros(HOUR.shape), keep=slice(0, 0))
    assert (unseen.coverage, unseen.hours_on, unseen.level_uvi) == (0.0, 0.0, None)
