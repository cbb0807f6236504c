import numpy as np
import pytest

from ingest.steadiness import lit_for_s, steadiness

DARK = np.array([20.0])


def noise(n: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((n, 1))


def test_noise_about_one_level_is_steady_in_all_but_few_cases() -> None:
    judged = [steadiness(25 + noise(40, seed), DARK).steady for seed in range(300)]
    assert np.mean(judged) > 0.98


def test_a_drift_of_two_per_cent_of_the_signal_is_not_steady() -> None:
    drift = np.linspace(0, 0.03 * 400, 40)[:, np.newaxis]
    seen = steadiness(420 + drift + 0.5 * noise(40), DARK)
    assert not seen.steady
    assert seen.wander[0] == pytest.approx(0.0225, abs=0.003)


def test_a_step_in_the_middle_is_not_steady() -> None:
    levels = 420 + 0.5 * noise(40)
    levels[20:] += 20
    assert not steadiness(levels, DARK).steady


def test_drift_does_not_count_as_noise_but_widens_the_mean() -> None:
    still = steadiness(420 + noise(400), DARK)
    drifting = steadiness(420 + noise(400) + np.linspace(0, 40, 400)[:, np.newaxis], DARK)
    assert still.noise[0] == pytest.approx(1.0, rel=0.1)
    assert drifting.noise[0] == pytest.approx(1.0, rel=0.1)
    assert still.u_mean[0] == pytest.approx(1 / 20, rel=0.5)
    assert drifting.u_mean[0] > 5


def test_each_channel_must_hold_still() -> None:
    levels = np.column_stack([420 + noise(40)[:, 0], np.linspace(100, 130, 40)])
    assert not steadiness(levels, np.array([20.0, 5.0])).steady


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="too few"):
        steadiness(noise(7), DARK)


def test_a_lamp_that_came_on_is_seen_in_its_readings() -> None:
    t_s = np.arange(0, 3600, 10.0)
    levels = np.where(t_s < 1200, 20.0, 420.0)
    assert lit_for_s(t_s, levels) == pytest.approx(3590 - 1190)


def test_a_covered_sensor_is_no_lamp_that_came_on() -> None:
    t_s = np.arange(0, 3600, 10.0)
    assert lit_for_s(t_s, np.where((t_s > 2000) & (t_s < 2060), 20.0, 420.0)) is None


def test_readings_without_a_change_do_not_say_since_when_a_lamp_is_on() -> None:
    t_s = np.arange(0, 3600, 10.0)
    assert lit_for_s(t_s, np.full(360, 420.0)) is None
    assert lit_for_s(t_s, np.where(t_s < 1200, 420.0, 20.0)) is None  # it is off now
    assert lit_for_s(np.empty(0), np.empty(0)) is None
