from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.arrays import FloatArray, IntArray
from firmware_host.board_clock import BoardClock, ClockFault, ClockJump

START_MS = 5_000_000
ROUNDING_MS = 3.0  # both sides count whole milliseconds, and so does the answer


@dataclass
class Simulated:
    """A board's stamps, the host times at which they were made, and when they arrived."""

    board_ms: IntArray
    true_ms: FloatArray
    arrived_ms: IntArray


def simulate(n: int, cadence_ms: float, drift_ppm: float, delay_ms: FloatArray) -> Simulated:
    board = np.arange(n) * cadence_ms
    true: FloatArray = START_MS + board * np.float64(1 + drift_ppm * 1e-6)
    # A serial line keeps its order: nothing overtakes what was delayed.
    arrived = np.maximum.accumulate(true + delay_ms)
    return Simulated(np.floor(board).astype(np.int64), true, np.floor(arrived).astype(np.int64))


def clock_of(run: Simulated) -> BoardClock:
    return BoardClock(int(run.board_ms[0]), int(run.arrived_ms[0]))


def live_errors_ms(clock: BoardClock, run: Simulated) -> tuple[FloatArray, FloatArray]:
    """Feed the run chunk by chunk, as the host would read it; return errors and the leak at each reading."""
    errors = np.empty(len(run.board_ms))
    leaks = np.empty(len(run.board_ms))
    firsts = np.flatnonzero(np.diff(run.arrived_ms, prepend=-1))
    for first, stop in zip(firsts, [*firsts[1:], len(run.board_ms)], strict=True):
        assert clock.observe_reading(int(run.board_ms[stop - 1]), int(run.arrived_ms[stop - 1])) is None
        placed = clock.to_host_ms(run.board_ms[first:stop])
        errors[first:stop] = placed - run.true_ms[first:stop]
        leaks[first:stop] = min(0.02, clock.pace_doubt_ppm * 1e-6 + 20e-6)
    return errors, leaks


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    drift_ppm=st.floats(-200, 200),
    quick_ms=st.floats(0, 10),
    cadence_ms=st.sampled_from([100.0, 250.0, 333.3, 1000.0]),
    slow_share=st.floats(0, 0.9),
)
def test_a_live_reading_is_placed_within_the_stated_bound(
    seed: int, drift_ppm: float, quick_ms: float, cadence_ms: float, slow_share: float
) -> None:
    rng = np.random.default_rng(seed)
    n = 3_000
    every = max(1, int(900 / cadence_ms))  # one quick line in each second
    delay = rng.uniform(0, quick_ms, n)
    slow = (rng.random(n) < slow_share) & (np.arange(n) % every != 0)
    delay[slow] += rng.uniform(0, cadence_ms * 0.9, slow.sum())
    run = simulate(n, cadence_ms, drift_ppm, delay)
    errors, leaks = live_errors_ms(clock_of(run), run)
    assert errors.min() >= -ROUNDING_MS
    assert np.all(errors <= quick_ms + 2 * leaks * 1_000 + ROUNDING_MS)


@pytest.mark.parametrize("drift_ppm", [-200.0, 0.0, 200.0])
def test_a_day_of_jitter_and_stalls_leaves_all_readings_within_25_ms(
    drift_ppm: float,
) -> None:
    rng = np.random.default_rng(8)
    n = 86_400
    delay = 1.0 + rng.exponential(5.0, n)
    stalls = rng.choice(n - 10, 800, replace=False)
    delay[stalls] += rng.uniform(0, 3_000, 800)  # the host was busy: many lines arrive in one chunk
    run = simulate(n, 1_000.0, drift_ppm, delay)
    clock = clock_of(run)
    errors, _ = live_errors_ms(clock, run)
    assert errors.min() >= -ROUNDING_MS
    assert errors[60:].max() <= 25.0
    assert abs(clock.pace_ppm - drift_ppm) < 10

    last_hour = slice(n - 3_700, n - 100)
    replayed = clock.to_host_ms(run.board_ms[last_hour]) - run.true_ms[last_hour]
    assert np.abs(replayed).max() <= 14.0


def test_a_pace_that_follows_the_temperature_of_the_day_is_followed() -> None:
    rng = np.random.default_rng(9)
    n = 86_400
    pace_ppm = 40 * np.sin(np.arange(n) * 2 * np.pi / 86_400)
    board = np.arange(n) * 1_000
    true = START_MS + np.cumsum(1_000 * (1 + pace_ppm * 1e-6))
    arrived = np.floor(true + rng.exponential(4.0, n)).astype(np.int64)
    run = Simulated(board.astype(np.int64), true, arrived)
    errors, _ = live_errors_ms(clock_of(run), run)
    assert np.abs(errors[60:]).max() <= 20.0


@pytest.mark.parametrize("drift_ppm", [-20_000.0, -5_000.0, 5_000.0, 20_000.0])
def test_a_board_without_a_crystal_is_followed(drift_ppm: float) -> None:
    rng = np.random.default_rng(10)
    run = simulate(7_200, 1_000.0, drift_ppm, rng.uniform(0, 8.0, 7_200))
    errors, _ = live_errors_ms(clock_of(run), run)
    assert errors.min() >= -ROUNDING_MS
    assert errors[120:].max() <= 8 + 0.5 + ROUNDING_MS


def test_a_board_heard_once_in_ten_minutes_is_followed() -> None:
    rng = np.random.default_rng(11)
    run = simulate(144, 600_000.0, 150.0, rng.uniform(0, 8.0, 144))
    clock = clock_of(run)
    errors, _ = live_errors_ms(clock, run)
    assert np.abs(errors[2:]).max() <= 8 + 2 * 60e-6 * 600_000 + ROUNDING_MS


def test_lines_of_one_chunk_are_placed_by_the_last_of_them() -> None:
    clock = BoardClock(9_000, 109_003)  # ten lines at once after nine seconds of a busy host
    np.testing.assert_array_equal(
        clock.to_host_ms(np.arange(0, 10_000, 1_000)), np.arange(100_003, 110_003, 1_000)
    )


def test_an_hour_from_before_the_first_sight_errs_by_the_crystal_alone() -> None:
    drift_ppm = 50.0
    run = simulate(10, 1_000.0, drift_ppm, np.linspace(8.0, 0.0, 10))  # looks like a pace of 900 ppm
    clock = clock_of(run)
    live_errors_ms(clock, run)
    before = np.arange(-3_600_000, 0, 1_000)
    errors = clock.to_host_ms(before) - (START_MS + before * (1 + drift_ppm * 1e-6))
    assert np.abs(errors).max() <= 180 + 8 + ROUNDING_MS


def test_an_hour_from_before_is_right_once_the_pace_is_known() -> None:
    rng = np.random.default_rng(12)
    run = simulate(1_800, 1_000.0, 3_000.0, rng.uniform(0, 5.0, 1_800))
    clock = clock_of(run)
    live_errors_ms(clock, run)
    before = np.arange(-3_600_000, 0, 1_000)
    errors = clock.to_host_ms(before) - (START_MS + before * 1.003)
    assert np.abs(errors).max() <= 60


@pytest.mark.parametrize("late", [slice(0, 60), slice(1_800, 1_920), slice(3_480, 3_600)])
def test_readings_of_minutes_in_which_every_line_was_late_are_placed_by_the_minutes_around(
    late: slice,
) -> None:
    delay_ms = np.full(3_600, 2.0)
    delay_ms[late] = 2_000.0
    run = simulate(3_600, 1_000.0, 100.0, delay_ms)
    clock = clock_of(run)
    live_errors_ms(clock, run)
    errors = clock.to_host_ms(run.board_ms) - run.true_ms
    assert np.abs(errors).max() <= 2 + 180_000 * 60e-6 + ROUNDING_MS


def test_the_answer_to_a_question_lifts_an_alignment_that_lags() -> None:
    clock = BoardClock(0, START_MS)
    for second in range(120):
        clock.observe_reading(second * 1_000, START_MS + second * 1_000)
    # The board slept for two seconds and did not count them.
    assert clock.observe_answer(120_000, asked_ms=START_MS + 122_000, arrived_ms=START_MS + 122_004) is None
    assert clock.to_host_ms(np.array([120_500])) == pytest.approx(START_MS + 122_500, abs=5)
    for second in range(121, 300):
        assert clock.observe_reading(second * 1_000, START_MS + second * 1_000 + 2_003) is None
        placed = clock.to_host_ms(np.array([second * 1_000]))
        assert placed == pytest.approx(START_MS + second * 1_000 + 2_000, abs=10)


def test_a_time_that_runs_backwards_is_told_and_realigned() -> None:
    clock = BoardClock(10_000, START_MS)
    assert clock.observe_reading(2_000, START_MS + 1_000) == ClockJump(ClockFault.BACKWARDS, 8_000)
    assert clock.to_host_ms(np.array([2_000])) == START_MS + 1_000


def test_a_leap_ahead_is_told_and_realigned() -> None:
    clock = BoardClock(0, START_MS)
    for second in range(60):
        assert clock.observe_reading(second * 1_000, START_MS + second * 1_000) is None
    jump = clock.observe_reading(1_060_000, START_MS + 60_000)
    assert jump is not None
    assert jump.fault is ClockFault.AHEAD
    assert jump.by_ms == pytest.approx(1_000_000, rel=0.01)
    assert clock.to_host_ms(np.array([1_060_000])) == START_MS + 60_000


@pytest.mark.parametrize("by_answer", [False, True])
def test_a_clock_that_stood_still_is_told_and_realigned(by_answer: bool) -> None:
    clock = BoardClock(0, START_MS)
    for second in range(60):
        clock.observe_reading(second * 1_000, START_MS + second * 1_000)
    jumps = []
    for second in range(60, 600):
        host_ms = START_MS + 100_000 + second * 1_000
        if by_answer:
            jumps.append(clock.observe_answer(second * 1_000, host_ms - 5, host_ms))
        else:
            jumps.append(clock.observe_reading(second * 1_000, host_ms))
    told = [jump for jump in jumps if jump is not None]
    assert len(told) == 1
    assert told[0].fault is ClockFault.BEHIND
    assert told[0].by_ms == pytest.approx(100_000, rel=0.03)
    assert clock.to_host_ms(np.array([600_000])) == pytest.approx(START_MS + 700_000, abs=5)


def test_half_a_minute_behind_its_own_replay_is_no_jump() -> None:
    clock = BoardClock(0, START_MS)
    for second in range(600):
        late_ms = max(0, 30_000 - abs(second - 330) * 1_000) if 300 <= second <= 360 else 0
        assert clock.observe_reading(second * 1_000, START_MS + second * 1_000 + late_ms) is None
        placed = clock.to_host_ms(np.array([second * 1_000]))
        assert placed == pytest.approx(START_MS + second * 1_000, abs=150)


def test_lines_that_waited_before_the_port_opened_are_no_jump() -> None:
    clock = BoardClock(0, START_MS + 40_000)
    assert clock.observe_reading(41_000, START_MS + 41_000) is None
    assert clock.to_host_ms(np.array([41_000])) == START_MS + 41_000


def test_the_order_of_readings_is_kept_across_what_is_known() -> None:
    rng = np.random.default_rng(13)
    run = simulate(20_000, 250.0, 80.0, rng.exponential(6.0, 20_000))
    clock = clock_of(run)
    live_errors_ms(clock, run)
    placed = clock.to_host_ms(np.arange(-60_000, 5_060_000, 100))
    assert np.diff(placed).min() >= 80  # 100 ms apart, less the spread of neighbouring slots
