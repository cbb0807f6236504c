import json
import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag
from exposure.bands import Band
from exposure.day_json import to_json_dict
from exposure.days import HOUR_MS, day_bounds, iso_utc
from exposure.profile import day_profile
from tests.exposure.series import samples_of

DAY = day_bounds(date(2024, 6, 10), "Europe/Berlin")
BAND = Band(1.0, 2.6, 2.9)


def hours_of_day(cadence_s: float = 10, bounds=DAY):
    """Sample times over the day with one sample past its end, and hours since it began."""
    n = round((bounds.end_ms - bounds.start_ms) / 1000 / cadence_s)
    utc_ms = bounds.start_ms + np.arange(n + 1) * round(cadence_s * 1000)
    return utc_ms, (utc_ms - bounds.start_ms) / HOUR_MS


def lamp(level_uvi: float, on_h: float = 8, off_h: float = 20, cadence_s: float = 10):
    utc_ms, hour = hours_of_day(cadence_s)
    return utc_ms, np.where((hour >= on_h) & (hour < off_h), level_uvi, 0.0)


def test_a_lamp_in_the_band_all_its_hours():
    utc_ms, uvi = lamp(2.0)
    profile = day_profile(samples_of(utc_ms, uvi, 0.02 + 0.08 * uvi), BAND, DAY)
    assert profile.coverage == 1.0
    assert profile.peak_uvi == 2.0
    assert profile.u_peak_uvi == pytest.approx(0.18)
    assert profile.peak_ms == DAY.start_ms + 8 * HOUR_MS
    assert profile.mean_uvi_lit == pytest.approx(2.0, rel=1e-3)
    assert profile.dose_uvi_h == pytest.approx(24.0, rel=1e-3)
    assert profile.dose_sed == pytest.approx(21.6, rel=1e-3)
    assert profile.lit_hours == pytest.approx(12.0, abs=0.01)
    assert profile.hours_in_band == pytest.approx(12.0, abs=0.01)
    assert profile.hours_below_band == pytest.approx(0.0, abs=0.01)
    assert profile.hours_above_band == 0.0
    assert profile.hours_above_ceiling == 0.0
    assert profile.first_light_ms == pytest.approx(DAY.start_ms + 8 * HOUR_MS, abs=10_000)
    assert profile.last_light_ms == pytest.approx(DAY.start_ms + 20 * HOUR_MS, abs=10_000)
    assert profile.gaps == ()
    assert profile.flag_hours == {}
    assert not profile.at_least


def test_time_under_sine_in_each_part_of_the_band_is_the_closed_form():
    # P sin(πt/H) is over L for H (1 - 2/π asin(L/P))
    utc_ms, hour = hours_of_day()
    peak, length = 3.2, 12.0
    uvi = np.where((hour >= 6) & (hour <= 18), peak * np.sin(math.pi * (hour - 6) / length), 0.0)
    profile = day_profile(samples_of(utc_ms, uvi), BAND, DAY)

    def hours_over(limit):
        return length * (1 - 2 / math.pi * math.asin(limit / peak))

    assert profile.hours_above_ceiling == pytest.approx(hours_over(2.9), abs=2e-4)
    assert profile.hours_above_band == pytest.approx(hours_over(2.6), abs=2e-4)
    assert profile.hours_in_band == pytest.approx(hours_over(1.0) - hours_over(2.6), abs=2e-4)
    assert profile.lit_hours == pytest.approx(hours_over(0.05), abs=2e-4)
    assert profile.hours_below_band == pytest.approx(hours_over(0.05) - hours_over(1.0), abs=2e-4)
    assert profile.dose_uvi_h == pytest.approx(2 * peak * length / math.pi, rel=1e-5)


@given(
    st.floats(0.2, 6),
    st.floats(0, 0.4),
    st.floats(4, 11),
    st.floats(13, 22),
    st.sampled_from([10, 30, 60]),
    st.randoms(use_true_random=False),
)
def test_hours_below_in_and_above_add_up_to_the_lit_hours(level, relative_u, on_h, off_h, cadence, random):
    utc_ms, uvi = lamp(level, on_h, off_h, cadence)
    noise = np.random.default_rng(random.randrange(2**32)).normal(0, 0.05, len(uvi))
    profile = day_profile(samples_of(utc_ms, uvi + noise, 0.05 + relative_u * uvi), BAND, DAY)
    parts = profile.hours_below_band + profile.hours_in_band + profile.hours_above_band
    assert parts == pytest.approx(profile.lit_hours, abs=1e-9)
    likely = (
        profile.expected_hours_below_band + profile.expected_hours_in_band + profile.expected_hours_above_band
    )
    assert likely == pytest.approx(profile.lit_hours, abs=1e-9)
    for hours in (profile.hours_below_band, profile.hours_in_band, profile.expected_hours_in_band):
        assert -1e-9 <= hours <= 24
    assert profile.hours_above_ceiling <= profile.hours_above_band + 1e-9
    assert profile.expected_hours_above_ceiling <= profile.expected_hours_above_band + 1e-9


def test_a_uvi_right_on_a_limit_is_expected_half_the_time_over_it():
    utc_ms, uvi = lamp(2.9)
    profile = day_profile(samples_of(utc_ms, uvi, 0.3), BAND, DAY)
    assert profile.hours_above_ceiling == 0.0  # the best estimate is not over
    assert profile.expected_hours_above_ceiling == pytest.approx(6.0, abs=0.02)


def test_one_standard_uncertainty_under_a_limit_is_expected_over_it_a_sixth_of_the_time():
    utc_ms, uvi = lamp(2.3)
    profile = day_profile(samples_of(utc_ms, uvi, 0.3), Band(0.1, 2.6, 5.0), DAY)
    assert profile.expected_hours_above_band / profile.lit_hours == pytest.approx(0.15866, abs=1e-3)


def test_with_no_uncertainty_expected_hours_are_the_plain_ones():
    utc_ms, uvi = lamp(2.7)
    profile = day_profile(samples_of(utc_ms, uvi), BAND, DAY)
    assert profile.expected_hours_above_band == pytest.approx(profile.hours_above_band, abs=0.01)
    assert profile.expected_hours_in_band == pytest.approx(profile.hours_in_band, abs=0.01)


def test_the_top_of_the_band_belongs_to_the_band_and_so_does_its_foot():
    for level in (1.0, 2.6):
        utc_ms, uvi = lamp(level)
        profile = day_profile(samples_of(utc_ms, uvi), BAND, DAY)
        assert profile.hours_in_band == pytest.approx(12, abs=0.01)


def test_the_night_is_in_no_band_even_where_the_band_begins_at_zero():
    utc_ms, uvi = lamp(0.4)
    profile = day_profile(samples_of(utc_ms, uvi, 0.01), Band(0.0, 0.7, 1.4), DAY)
    assert profile.hours_in_band == pytest.approx(12, abs=0.01)


def assert_json_able(profile):
    text = json.dumps(to_json_dict(profile, spot="rock"), allow_nan=False)
    return json.loads(text)


def test_a_day_of_which_nothing_was_seen_has_no_figures_but_its_gap():
    profile = day_profile(samples_of([], []), BAND, DAY)
    assert profile.coverage == 0.0
    assert [(gap.start_ms, gap.end_ms) for gap in profile.gaps] == [(DAY.start_ms, DAY.end_ms)]
    figures = assert_json_able(profile)
    for key in ("peak_uvi", "mean_uvi_lit", "dose_uvi_h", "dose_sed", "hours_in_band", "first_light"):
        assert figures[key] is None


@pytest.mark.parametrize("flag", [Flag.UNCALIBRATED, Flag.MISSING, Flag.SENSOR_FAULT])
def test_a_day_of_samples_without_values_is_not_seen_either_and_says_why(flag):
    utc_ms, _ = lamp(2.0)
    profile = day_profile(samples_of(utc_ms, np.nan, np.nan, flag), BAND, DAY)
    assert profile.coverage == 0.0
    assert profile.dose_uvi_h is None
    assert profile.flag_hours == {flag.name.lower(): pytest.approx(24.0)}
    assert_json_able(profile)


def test_a_lone_sample_has_a_peak_but_shows_no_time():
    profile = day_profile(samples_of([DAY.start_ms + HOUR_MS], 2.0, 0.1), BAND, DAY)
    assert (profile.coverage, profile.peak_uvi, profile.dose_uvi_h) == (0.0, 2.0, None)
    assert_json_able(profile)


def test_a_dark_day_has_zero_hours_of_light_and_no_first_light():
    utc_ms, hour = hours_of_day()
    noise = np.random.default_rng(3).normal(0, 0.02, len(hour))
    profile = day_profile(samples_of(utc_ms, noise, 0.02), BAND, DAY)
    assert profile.lit_hours == 0.0
    assert profile.hours_below_band == 0.0
    assert profile.first_light_ms is None
    assert profile.mean_uvi_lit is None
    assert profile.coverage == 1.0
    assert_json_able(profile)


@pytest.mark.parametrize("cadence_s", [1, 10, 60])
def test_noise_in_the_dark_is_not_taken_for_light(cadence_s):
    utc_ms, uvi = lamp(2.0, cadence_s=cadence_s)
    for seed in range(5):
        noise = np.random.default_rng(seed).normal(0, 0.1, len(uvi))
        profile = day_profile(samples_of(utc_ms, uvi + noise, np.hypot(0.1, 0.1 * uvi)), BAND, DAY)
        assert profile.first_light_ms == pytest.approx(DAY.start_ms + 8 * HOUR_MS, abs=2000 * cadence_s)
        assert profile.lit_hours == pytest.approx(12, abs=0.05 + cadence_s / 1800)


def test_a_short_strong_flash_is_light_and_counts_over_the_ceiling():
    utc_ms, hour = hours_of_day(1)
    uvi = np.where((hour >= 3) & (hour < 3 + 30 / 3600), 6.0, 0.0)
    profile = day_profile(samples_of(utc_ms, uvi, 0.02), BAND, DAY)
    assert profile.hours_above_ceiling == pytest.approx(30 / 3600, abs=2 / 3600)


def test_a_gap_is_listed_counted_out_of_the_coverage_and_never_taken_for_dark():
    utc_ms, uvi = lamp(2.0)
    seen = (utc_ms < DAY.start_ms + 12 * HOUR_MS) | (utc_ms > DAY.start_ms + 15 * HOUR_MS)
    profile = day_profile(samples_of(utc_ms[seen], uvi[seen], 0.1), BAND, DAY)
    assert profile.coverage == pytest.approx(21 / 24, abs=1e-3)
    (gap,) = profile.gaps
    assert gap.end_ms - gap.start_ms == pytest.approx(3 * HOUR_MS, abs=20_000)
    assert profile.lit_hours == pytest.approx(9, abs=0.02)
    assert profile.mean_uvi_lit == pytest.approx(2.0, rel=1e-3)
    assert profile.dose_uvi_h == pytest.approx(18, rel=2e-3)


def test_a_board_that_starts_at_noon_leaves_the_morning_unseen():
    utc_ms, uvi = lamp(2.0)
    seen = utc_ms >= DAY.start_ms + 12 * HOUR_MS
    profile = day_profile(samples_of(utc_ms[seen], uvi[seen], 0.1), BAND, DAY)
    assert profile.coverage == pytest.approx(0.5)
    assert profile.first_light_ms == DAY.start_ms + 12 * HOUR_MS
    assert profile.gaps[0].start_ms == DAY.start_ms


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.ABOVE_RANGE])
def test_saturated_or_extrapolated_samples_make_the_figures_at_least(flag):
    utc_ms, uvi = lamp(2.0)
    flags = np.where(uvi > 0, int(flag), 0)
    profile = day_profile(samples_of(utc_ms, uvi, 0.1, flags), BAND, DAY)
    assert profile.at_least
    assert profile.flag_hours == {flag.name.lower(): pytest.approx(12, abs=0.01)}


def test_flags_that_leave_the_value_stand_in_the_count_of_hours_and_change_nothing_else():
    utc_ms, uvi = lamp(2.0)
    flags = np.full(len(uvi), Flag.CLOCK_UNSURE | Flag.STALE_CALIBRATION)
    plain = day_profile(samples_of(utc_ms, uvi, 0.1), BAND, DAY)
    flagged = day_profile(samples_of(utc_ms, uvi, 0.1, flags), BAND, DAY)
    assert flagged.flag_hours == {
        "clock_unsure": pytest.approx(24),
        "stale_calibration": pytest.approx(24),
    }
    assert flagged.hours_in_band == plain.hours_in_band
    assert flagged.dose_uvi_h == plain.dose_uvi_h


@pytest.mark.parametrize(("day", "hours"), [(date(2024, 3, 31), 23), (date(2024, 10, 27), 25)])
def test_a_daylight_saving_day_is_covered_whole(day, hours):
    bounds = day_bounds(day, "Europe/Berlin")
    utc_ms, _ = hours_of_day(bounds=bounds)
    profile = day_profile(samples_of(utc_ms, 2.0, 0.1), BAND, bounds)
    assert profile.coverage == 1.0
    assert profile.lit_hours == pytest.approx(hours)
    assert profile.dose_uvi_h == pytest.approx(2.0 * hours)


def test_samples_of_the_days_before_and_after_do_not_count():
    utc_ms = DAY.start_ms + np.arange(-8640, 3 * 8640) * 10_000
    inside = (utc_ms >= DAY.start_ms) & (utc_ms < DAY.end_ms)
    uvi = np.where(inside, 1.5, 9.0)
    profile = day_profile(samples_of(utc_ms, uvi, 0.1), BAND, DAY)
    assert profile.peak_uvi == 1.5
    assert profile.dose_uvi_h == pytest.approx(1.5 * 24, rel=2e-3)


def test_the_json_names_stay():
    utc_ms, uvi = lamp(2.0)
    figures = assert_json_able(day_profile(samples_of(utc_ms, uvi, 0.1), BAND, DAY))
    assert list(figures) == [
        "schema", "spot", "date", "time_zone", "day_hours", "band", "coverage", "at_least",
        "peak_uvi", "u_peak_uvi", "peak_at", "mean_uvi_lit", "u_mean_uvi_lit",
        "dose_uvi_h", "u_dose_uvi_h", "dose_sed", "u_dose_sed",
        "lit_hours", "lit_threshold_uvi", "first_light", "last_light",
        "hours_below_band", "hours_in_band", "hours_above_band", "hours_above_ceiling",
        "expected_hours_below_band", "expected_hours_in_band", "expected_hours_above_band",
        "expected_hours_above_ceiling", "max_gap_s", "gaps", "flag_hours",
    ]  # fmt: skip
    assert figures["schema"] == "baskline.day/1"
    assert figures["date"] == "2024-06-10"
    assert figures["time_zone"] == "Europe/Berlin"
    assert figures["first_light"].startswith("2024-06-10T07:59:5")
    assert figures["first_light"].endswith("+02:00")
    assert iso_utc(DAY.start_ms) == "2024-06-09T22:00:00Z"
