import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.clock import Moment
from ingest.timeline import STEP_MS, HostTimeline, Step

HOUR_MS = 3_600_000
NOON_MS = 1_780_000_000_000


def moment(mono_ms: int, wall_ms: int, *, synchronised: bool) -> Moment:
    return Moment(mono_ms, wall_ms, synchronised)


def utc(timeline: HostTimeline, *host_ms: int) -> list[int]:
    return [int(value) for value in timeline.to_utc_ms(np.array(host_ms, np.int64))]


def test_a_trusted_clock_is_taken_as_it_is() -> None:
    timeline = HostTimeline(moment(5000, NOON_MS, synchronised=True), last_stored_ms=NOON_MS - HOUR_MS)
    assert timeline.sure
    assert utc(timeline, 5000, 6000) == [NOON_MS, NOON_MS + 1000]


def test_a_pi_that_wakes_in_the_past_carries_on_after_its_last_reading_until_the_network_comes() -> None:
    timeline = HostTimeline(moment(0, NOON_MS - HOUR_MS, synchronised=False), last_stored_ms=NOON_MS)
    first = utc(timeline, 0)[0]
    assert first > NOON_MS
    assert not timeline.sure

    step = timeline.observe(moment(60_000, NOON_MS + 4 * HOUR_MS, synchronised=True))

    assert step == Step(NOON_MS + 4 * HOUR_MS - 60_000 - first, sure=True)
    assert utc(timeline, 60_000) == [NOON_MS + 4 * HOUR_MS]
    assert timeline.sure


def test_becoming_trusted_without_a_jump_is_still_said_so_that_doubt_can_be_cleared() -> None:
    timeline = HostTimeline(moment(0, NOON_MS, synchronised=False), last_stored_ms=None)
    assert timeline.observe(moment(1000, NOON_MS + 1000, synchronised=True)) == Step(0, sure=True)
    assert timeline.observe(moment(2000, NOON_MS + 2000, synchronised=True)) is None


def test_an_untrusted_clock_set_by_hand_moves_the_run_in_both_directions() -> None:
    timeline = HostTimeline(moment(0, NOON_MS, synchronised=False), last_stored_ms=None)
    assert timeline.observe(moment(1000, NOON_MS + 1000 + HOUR_MS, synchronised=False)) == Step(
        HOUR_MS, sure=False
    )
    assert timeline.observe(moment(2000, NOON_MS + 2000, synchronised=False)) == Step(-HOUR_MS, sure=False)


def test_an_untrusted_jump_to_before_the_last_reading_is_not_believed() -> None:
    timeline = HostTimeline(moment(0, NOON_MS, synchronised=False), last_stored_ms=NOON_MS - 10_000)
    assert timeline.observe(moment(1000, NOON_MS - HOUR_MS, synchronised=False)) is None
    assert utc(timeline, 1000) == [NOON_MS + 1000]


@given(
    st.lists(
        st.tuples(st.integers(1, 5000), st.integers(-STEP_MS // 2, STEP_MS // 2), st.booleans()), max_size=40
    )
)
def test_between_steps_time_never_runs_backwards(changes: list[tuple[int, int, bool]]) -> None:
    mono_ms, wall_ms = 0, NOON_MS
    timeline = HostTimeline(moment(mono_ms, wall_ms, synchronised=False), last_stored_ms=None)
    previous_ms = utc(timeline, mono_ms)[0]
    for elapsed_ms, drift_ms, synchronised in changes:
        mono_ms += elapsed_ms
        wall_ms += elapsed_ms + drift_ms
        step = timeline.observe(moment(mono_ms, wall_ms, synchronised=synchronised))
        now_ms = timeline.now_utc_ms(moment(mono_ms, wall_ms, synchronised=synchronised))
        assert now_ms >= previous_ms + (step.delta_ms if step else 0)
        previous_ms = now_ms
