import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calibrate.samples import Flag
from exposure.dose import dose
from exposure.segments import cadence_s, default_max_gap_s
from tests.exposure.series import T0_MS, every, samples_of

HOUR_MS = 3_600_000


@st.composite
def series(draw):
    """Irregular samples over an hour or so, with gaps, UVI up to 12."""
    steps_ms = draw(st.lists(st.integers(200, 120_000), min_size=1, max_size=60))
    utc_ms = T0_MS + np.cumsum([0, *steps_ms])
    level = st.floats(0, 12, allow_subnormal=False)
    uvi = draw(st.lists(level, min_size=len(utc_ms), max_size=len(utc_ms)))
    u_uvi = draw(st.lists(st.floats(0, 2, allow_subnormal=False), min_size=len(utc_ms), max_size=len(utc_ms)))
    return samples_of(utc_ms, uvi, u_uvi)


def test_an_hour_at_uvi_one_is_one_uvi_hour_and_0_9_sed():
    received = dose(every(10, np.ones(361), 0.1), T0_MS, T0_MS + HOUR_MS, max_gap_s=35)
    assert received.uvi_h == pytest.approx(1.0, rel=1e-12)
    assert received.sed == pytest.approx(0.9, rel=1e-12)
    assert received.u_uvi_h == pytest.approx(0.1, rel=1e-12)
    assert received.u_sed == pytest.approx(0.09, rel=1e-12)
    assert received.seconds_seen == 3600
    assert not received.at_least


@given(series(), st.floats(0, 1), st.floats(20, 130))
def test_doses_of_adjacent_intervals_add_up(samples, where, max_gap_s):
    start_ms, end_ms = int(samples.utc_ms[0]), int(samples.utc_ms[-1])
    cut_ms = round(start_ms + where * (end_ms - start_ms))
    whole = dose(samples, start_ms, end_ms, max_gap_s)
    parts = [dose(samples, start_ms, cut_ms, max_gap_s), dose(samples, cut_ms, end_ms, max_gap_s)]
    assert sum(part.uvi_h for part in parts) == pytest.approx(whole.uvi_h, rel=1e-9, abs=1e-12)
    assert sum(part.u_uvi_h for part in parts) == pytest.approx(whole.u_uvi_h, rel=1e-9, abs=1e-12)
    assert sum(part.seconds_seen for part in parts) == pytest.approx(whole.seconds_seen, abs=1e-6)


@given(series(), st.floats(0.01, 100))
def test_a_lamp_twice_as_strong_gives_twice_the_dose(samples, factor):
    start_ms, end_ms = int(samples.utc_ms[0]), int(samples.utc_ms[-1])
    once = dose(samples, start_ms, end_ms, 60)
    scaled = samples_of(samples.utc_ms, samples.uvi * factor, samples.u_uvi * factor)
    more = dose(scaled, start_ms, end_ms, 60)
    assert more.uvi_h == pytest.approx(once.uvi_h * factor, rel=1e-9, abs=1e-12)
    assert more.u_uvi_h == pytest.approx(once.u_uvi_h * factor, rel=1e-9, abs=1e-12)
    assert more.seconds_seen == once.seconds_seen


@given(series(), st.data())
def test_more_uvi_at_any_moment_never_means_less_dose(samples, data):
    index = data.draw(st.integers(0, len(samples) - 1))
    raised_uvi = samples.uvi.copy()
    raised_uvi[index] += 1
    start_ms, end_ms = int(samples.utc_ms[0]), int(samples.utc_ms[-1])
    raised = dose(samples_of(samples.utc_ms, raised_uvi, samples.u_uvi), start_ms, end_ms, 60)
    assert raised.uvi_h >= dose(samples, start_ms, end_ms, 60).uvi_h


@given(series(), st.data())
def test_samples_added_on_the_straight_line_change_nothing(samples, data):
    gaps_ms = np.diff(samples.utc_ms)
    index = data.draw(st.integers(0, len(gaps_ms) - 1))
    assume(gaps_ms[index] >= 2)
    extra_ms = int(samples.utc_ms[index]) + data.draw(st.integers(1, int(gaps_ms[index]) - 1))
    denser_ms = np.sort(np.append(samples.utc_ms, extra_ms))
    offset_ms, original_ms = denser_ms - T0_MS, samples.utc_ms - T0_MS
    denser = samples_of(
        denser_ms,
        np.interp(offset_ms, original_ms, samples.uvi),
        np.interp(offset_ms, original_ms, samples.u_uvi),
    )
    start_ms, end_ms = int(samples.utc_ms[0]), int(samples.utc_ms[-1])
    sparse, dense = (dose(each, start_ms, end_ms, max_gap_s=121) for each in (samples, denser))
    assert dense.uvi_h == pytest.approx(sparse.uvi_h, rel=1e-9, abs=1e-12)
    assert dense.u_uvi_h == pytest.approx(sparse.u_uvi_h, rel=1e-9, abs=1e-12)
    assert dense.seconds_seen == pytest.approx(sparse.seconds_seen, abs=1e-6)


def test_over_a_gap_nothing_is_added_and_nothing_is_called_zero():
    utc_ms = T0_MS + np.concatenate([np.arange(0, 601), np.arange(3000, 3601)]) * 1000
    received = dose(samples_of(utc_ms, 2.0), T0_MS, T0_MS + HOUR_MS, max_gap_s=10)
    assert received.seconds_seen == 1200
    assert received.uvi_h == pytest.approx(2.0 * 1200 / 3600)


def test_samples_exactly_as_far_apart_as_allowed_still_count_as_seen():
    samples = samples_of([T0_MS, T0_MS + 35_000, T0_MS + 70_001], 1.0)
    assert dose(samples, T0_MS, T0_MS + HOUR_MS, max_gap_s=35).seconds_seen == 35


@pytest.mark.parametrize("flag", [Flag.UNCALIBRATED, Flag.MISSING, Flag.SENSOR_FAULT])
def test_samples_without_a_value_count_for_nothing(flag):
    uvi, flags = np.full(361, 2.0), np.zeros(361, np.uint32)
    uvi[100:200], flags[100:200] = np.nan, flag
    received = dose(every(10, uvi, 0.1, flags), T0_MS, T0_MS + HOUR_MS, max_gap_s=35)
    assert received.seconds_seen == 3600 - 1010
    assert received.uvi_h == pytest.approx(2.0 * received.seconds_seen / 3600)
    assert np.isfinite(received.u_uvi_h)


def test_a_number_under_a_flag_that_denies_it_is_not_believed():
    flags = np.full(361, Flag.UNCALIBRATED, np.uint32)
    assert dose(every(10, np.full(361, 9.0), 0.1, flags), T0_MS, T0_MS + HOUR_MS, 35).seconds_seen == 0


def test_nothing_seen_is_no_dose_over_no_time():
    received = dose(samples_of([], []), T0_MS, T0_MS + HOUR_MS, 35)
    assert (received.uvi_h, received.u_uvi_h, received.seconds_seen) == (0.0, 0.0, 0.0)


def test_one_sample_alone_shows_no_time():
    assert dose(samples_of([T0_MS], 3.0), T0_MS, T0_MS + HOUR_MS, 35).seconds_seen == 0


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.ABOVE_RANGE])
def test_a_dose_with_a_saturated_or_extrapolated_sample_is_at_least_that(flag):
    flags = np.zeros(361, np.uint32)
    flags[200] = flag
    assert dose(every(10, np.ones(361), 0, flags), T0_MS, T0_MS + HOUR_MS, 35).at_least
    assert not dose(every(10, np.ones(361), 0, flags), T0_MS, T0_MS + HOUR_MS // 2, 35).at_least


def test_noise_about_dark_does_not_turn_into_dose():
    noise = np.random.default_rng(7).normal(0, 0.02, 8641)
    received = dose(every(10, noise, 0.02), T0_MS, T0_MS + 24 * HOUR_MS, 35)
    assert abs(received.uvi_h) < 0.02  # 24 h × 0.02 / √8640 = 0.005, against 0.19 if cut off at zero


@pytest.mark.parametrize(
    ("cadence", "max_gap_s"), [(0.1, 10.0), (1.0, 10.0), (10.0, 35.0), (60.0, 210.0), (600.0, 300.0)]
)
def test_the_longest_gap_follows_the_cadence_between_two_bounds(cadence, max_gap_s):
    assert default_max_gap_s(cadence) == max_gap_s


def test_the_cadence_is_the_usual_spacing_and_gaps_do_not_move_it():
    utc_ms = T0_MS + np.array([0, 10, 20, 30, 40, 4000, 4010, 4020]) * 1000
    assert cadence_s(samples_of(utc_ms, 1.0)) == 10
    assert np.isnan(cadence_s(samples_of([T0_MS], 1.0)))
