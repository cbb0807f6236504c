"""The model of a room: physics where a law is known, and the same light at the same moment whoever asks."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.lamp_kinds import LAMP_KINDS
from exposure.counted_noise import normal_at, wander_at
from exposure.room import (
    WARM_UPS,
    ChannelResponse,
    Episode,
    LampLight,
    Photoperiod,
    SensorResponse,
    SpotLight,
    mean_ripple,
)

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY = Photoperiod(510, 1230, "Europe/Vienna")  # 08:30 to 20:30


def utc_ms(*parts: int) -> int:
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)


MAY_17 = utc_ms(2025, 5, 16, 22)  # local midnight in Vienna


def quiet(kind: str = "t5", **other) -> LampLight:
    still = {"flicker": 0.0, "wander": 0.0, "ripple_depth": 0.0} | other
    return LampLight(kind, DAY, seed=1, origin_ms=MAY_17, **still)


def at(*minutes: float) -> np.ndarray:
    return np.array([MAY_17 + round(minute * MINUTE_MS) for minute in minutes])


def test_noise_is_standard_normal_and_independent_between_moments_and_streams():
    index = np.arange(200_000)
    x, y = normal_at(7, "one", index), normal_at(7, "two", index)
    assert abs(x.mean()) < 0.01
    assert x.std() == pytest.approx(1, abs=0.01)
    assert np.mean(np.abs(x) < 1.96) == pytest.approx(0.95, abs=0.003)
    assert abs(np.corrcoef(x[:-1], x[1:])[0, 1]) < 0.01
    assert abs(np.corrcoef(x, y)[0, 1]) < 0.01
    assert abs(np.corrcoef(x, normal_at(8, "one", index))[0, 1]) < 0.01


def test_slow_noise_has_no_steps():
    slow = wander_at(7, "one", np.arange(0, 600_000, 100), 45_000)
    assert np.abs(np.diff(slow)).max() < 0.03
    assert slow.std() > 0.3


@given(
    start=st.integers(0, 86_400_000),
    cuts=st.lists(st.integers(1, 199), max_size=4, unique=True),
    seed=st.integers(0, 2**32),
)
def test_light_and_counts_do_not_depend_on_how_moments_are_batched(start, cuts, seed):
    t_ms = MAY_17 + start + np.arange(200) * 977
    leaf = Episode("leaf", int(t_ms[50]), int(t_ms[150]), 0.5, ramp_s=20, flutter=0.1)
    spot = SpotLight(LampLight("t5", DAY, seed, MAY_17), 3.0, 30.0, 30.0, shades=(leaf,))
    sensor = SensorResponse((ChannelResponse("uva_counts", 12, 100, 4095, noise_counts=2),), seed)

    def counts(part: np.ndarray) -> np.ndarray:
        return sensor.counts(part, spot.uvi_at(part), spot.temperature_at(part))["uva_counts"]

    parts = [counts(part) for part in np.split(t_ms, sorted(cuts))]
    np.testing.assert_array_equal(np.concatenate(parts), counts(t_ms))
    np.testing.assert_array_equal(counts(t_ms[::-1])[::-1], counts(t_ms))


def test_another_seed_gives_other_noise_about_the_same_light():
    t_ms = at(*np.arange(600, 660, 0.1))
    one, two = (LampLight("t5", DAY, seed, MAY_17).relative(t_ms, 100) for seed in (1, 2))
    assert not np.allclose(one, two, atol=1e-4)
    assert one.mean() == pytest.approx(two.mean(), abs=0.005)


def test_a_lamp_is_lit_by_the_local_clock_also_when_it_changes():
    # The clocks of Vienna went forward on 2025-03-30 and back on 2025-10-26, both at 01:00 UTC.
    for day, offset_h in ((29, 1), (30, 2)):
        on_ms = utc_ms(2025, 3, day, 8 - offset_h, 30)
        lit = quiet().relative(np.array([on_ms - 1, on_ms + 30 * MINUTE_MS]), 100)
        assert lit[0] == 0
        assert lit[1] > 0.9
    for day, offset_h in ((25, 2), (26, 1)):
        off_ms = utc_ms(2025, 10, day, 20 - offset_h, 30)
        lit = quiet().relative(np.array([off_ms - 1, off_ms]), 100)
        assert lit[0] > 0.9
        assert lit[1] == 0


def test_a_lamp_may_burn_past_midnight():
    night = LampLight("t5", Photoperiod(1320, 360, "Europe/Vienna"), 1, MAY_17)
    lit = night.relative(at(0, 300, 361, 1300, 1400), 100) > 0
    assert lit.tolist() == [True, True, False, False, True]
    assert night.photoperiod.lit_share == pytest.approx(8 / 24)


def test_no_moments_give_no_light():
    none = np.empty(0, np.int64)
    spot = SpotLight(quiet(), 3.0, 30.0, 30.0)
    assert len(spot.uvi_at(none)) == len(spot.temperature_at(none)) == 0


@pytest.mark.parametrize("kind", WARM_UPS)
def test_each_kind_of_lamp_takes_its_time_to_settle(kind):
    # Common practice, no source: `LampKind.warm_up_s` is the long end of the usual time to within 2 %.
    relative = quiet(kind).relative(
        at(510, 510.5, *np.linspace(510 + LAMP_KINDS[kind].warm_up_s / 60, 1229)), 100
    )
    assert abs(relative[0] - 1) > 0.02
    assert np.abs(relative[2:] - 1).max() < 0.02


def test_a_fluorescent_lamp_passes_its_steady_output_before_it_settles_and_a_discharge_lamp_does_not():
    minutes = at(*np.arange(510, 560, 0.5))
    assert 1.02 < quiet("t5").relative(minutes, 100).max() < 1.1
    assert quiet("metal-halide").relative(minutes, 100).max() <= 1


def test_every_kind_of_lamp_but_the_sun_is_modelled():
    assert set(WARM_UPS) == set(LAMP_KINDS) - {"sun"}


@pytest.mark.parametrize("change", [-0.3, 0.25])
def test_output_changes_by_the_stated_share_in_1000_hours_lit_in_either_direction(change):
    # 12 of 24 hours lit, so 1000 hours take 2000 hours.
    noon = at(720)
    later = noon + 2016 * HOUR_MS  # the nearest whole number of days: 1008 hours lit
    lamp = quiet(change_per_1000_h=change)
    ratio = lamp.relative(later, 100)[0] / lamp.relative(noon, 100)[0]
    assert ratio == pytest.approx((1 + change) ** 1.008, rel=1e-6)


def test_an_episode_comes_and_goes_over_its_ramp():
    leaf = Episode("leaf", MAY_17, MAY_17 + HOUR_MS, 0.4, ramp_s=600)
    told = leaf.multiplier(at(-1, 0, 5, 10, 30, 55, 60, 61), seed=1)
    np.testing.assert_allclose(told, [1, 1, 0.7, 0.4, 0.4, 0.7, 1, 1])


def test_a_faulty_lamp_rises_at_every_spot_under_it():
    fault = Episode("ballast", int(at(780)[0]), int(at(1230)[0]), 1.8, ramp_s=600)
    lamp = quiet(faults=(fault,))
    near, far = SpotLight(lamp, 3.0, 30.0, 30.0), SpotLight(lamp, 3.0, 30.0, 60.0)
    for spot in (near, far):
        before, during = spot.uvi_at(at(770, 900))
        assert during / before == pytest.approx(1.8, rel=1e-3)


def test_the_mean_of_a_mains_ripple_is_as_small_as_a_boxcar_makes_it():
    # |sin(πfT)/(πfT)|, computed: 4.730 % for 100 Hz and 3.499 % for 120 Hz at 64 ms; nothing at 50 ms.
    t_ms = np.arange(0, 100_000, 7)
    for ripple_hz, expected in ((100, 0.04730), (120, 0.03499)):
        mean = mean_ripple(t_ms, ripple_hz + 0.013, 64)
        assert np.abs(mean).max() == pytest.approx(expected, rel=0.01)
        assert np.abs(mean_ripple(t_ms, ripple_hz, 50)).max() < 1e-12


def test_the_mean_of_a_ripple_is_that_of_its_sine():
    t_ms = np.array([0, 3, 1234])
    fine_ms = t_ms[:, np.newaxis] + (np.arange(10_000) + 0.5) * 64e-4
    numeric = np.sin(2 * np.pi * 100.013 * fine_ms / 1000).mean(axis=1)
    np.testing.assert_allclose(mean_ripple(t_ms, 100.013, 64), numeric, atol=1e-7)


def test_mesh_and_distance_weaken_the_light():
    spot = SpotLight(quiet(), bare_uvi=3.0, bare_cm=30.0, distance_cm=60.0, transmission=0.62)
    assert spot.steady_uvi == pytest.approx(3.0 / 4 * 0.62)
    assert spot.uvi_at(at(900))[0] == pytest.approx(spot.steady_uvi, rel=1e-3)


def test_warmth_follows_the_lamp():
    spot = SpotLight(quiet(), 3.0, 30.0, 30.0, ambient_c=22, warming_c=10, warming_s=1500)
    before, quarter, warm, after = spot.temperature_at(at(509, 510 + 25, 1229, 1230 + 25))
    assert before == pytest.approx(22, abs=0.01)
    assert quarter == pytest.approx(22 + 10 * (1 - np.exp(-1)), abs=0.01)
    assert warm == pytest.approx(32, abs=0.01)
    assert after == pytest.approx(22 + 10 * np.exp(-1), abs=0.01)


def test_counts_follow_light_gain_and_temperature_and_end_at_full_scale():
    sensor = SensorResponse((ChannelResponse("uva_counts", 12, 100, 4095, per_c=0.002),), seed=1)
    uvi = np.array([0.0, 2.0, 2.0, 100.0])
    counts = sensor.counts(np.arange(4), uvi, np.array([25.0, 25.0, 35.0, 25.0]))["uva_counts"]
    np.testing.assert_array_equal(counts, [12, 212, 216, 4095])


def test_noise_of_counts_is_as_stated():
    channel = ChannelResponse("uva_counts", 500, 1000, 65535, noise_counts=3, noise_relative=0.01)
    n = 20_000
    dark, lit = (
        SensorResponse((channel,), 1).counts(np.arange(n), np.full(n, uvi), np.full(n, 25.0))["uva_counts"]
        for uvi in (0.0, 2.0)
    )
    assert dark.std() == pytest.approx(3, rel=0.03)
    assert lit.std() == pytest.approx(np.hypot(3, 20), rel=0.03)


def test_no_light_gives_a_negative_count():
    channel = ChannelResponse("uva_counts", 1, 100, 4095, noise_counts=5)
    counts = SensorResponse((channel,), 1).counts(np.arange(1000), np.zeros(1000), np.full(1000, 25.0))
    assert counts["uva_counts"].min() == 0
