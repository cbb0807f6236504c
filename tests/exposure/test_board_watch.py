from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from exposure.board_watch import BoardWatch, default_silence_s
from exposure.events import EventKind, Severity
from tests.exposure.series import T0_MS


def board_watch(**more):
    return BoardWatch("b1", **{"silent_after_s": 30, "started_ms": T0_MS, **more})


def test_a_board_silent_for_too_long_is_an_event():
    watch = board_watch()
    assert watch.heard(T0_MS + 10_000) == []
    assert watch.tick(T0_MS + 39_999) == []
    (event,) = watch.tick(T0_MS + 45_000)
    assert (event.kind, event.severity) == (EventKind.BOARD_SILENT, Severity.TODAY)
    assert (event.subject_kind, event.subject) == ("board", "b1")
    assert event.opened_ms == T0_MS + 40_000
    assert event.identity == f"board_silent.b1.{T0_MS + 40_000}"
    assert event.sentence == "silent, nothing heard for 30 s"
    assert event.evidence == {"silent_after_s": 30.0, "last_heard_ms": T0_MS + 10_000}
    assert watch.tick(T0_MS + 90_000) == []
    assert watch.open_events == (event,)


def test_a_board_that_never_spoke_is_silent_since_the_start():
    (event,) = board_watch().tick(T0_MS + 30_000)
    assert event.sentence == "silent, nothing heard since the start, for 30 s"
    assert event.evidence["last_heard_ms"] is None


def test_it_closes_when_the_board_speaks_again():
    watch = board_watch()
    (event,) = watch.tick(T0_MS + 60_000)
    (closed,) = watch.heard(T0_MS + 630_000)
    assert closed.identity == event.identity
    assert closed.closed_ms == T0_MS + 630_000
    assert closed.closing == "spoke again after 10 min"
    assert watch.open_events == ()


def test_a_silence_that_no_tick_saw_was_still_one():
    opened, closed = board_watch().heard(T0_MS + 60_000)
    assert opened.opened_ms == T0_MS + 30_000
    assert opened.is_open
    assert closed.closed_ms == T0_MS + 60_000


@given(
    st.lists(st.integers(1, 100_000), max_size=30),
    st.lists(st.integers(0, 3_000_000), max_size=30),
)
def test_when_ticks_come_changes_no_event(silences_ms, ticks_ms):
    heard_ms = [T0_MS + sum(silences_ms[: n + 1]) for n in range(len(silences_ms))]
    end_ms = (heard_ms[-1] if heard_ms else T0_MS) + 40_000

    def run(ticks):
        watch = board_watch()
        events = []
        for at_ms, spoke in sorted([(at, True) for at in heard_ms] + [(at, False) for at in ticks]):
            events += watch.heard(at_ms) if spoke else watch.tick(at_ms)
        return events + watch.tick(end_ms)

    ticks = [T0_MS + at for at in ticks_ms if T0_MS + at < end_ms]
    assert run(ticks) == run([])


@given(st.lists(st.integers(1, 100_000), min_size=1, max_size=40), st.data())
def test_readings_heard_in_batches_give_the_events_of_readings_heard_one_by_one(silences_ms, data):
    heard_ms = T0_MS + np.cumsum(silences_ms)
    one_by_one, batched = board_watch(), board_watch()
    expected = [event for at_ms in heard_ms.tolist() for event in one_by_one.heard(at_ms)]
    events = []
    while len(heard_ms):
        n = data.draw(st.integers(1, len(heard_ms)))
        events += batched.heard_all(heard_ms[:n])
        heard_ms = heard_ms[n:]
    assert events == expected


def test_a_board_that_says_that_it_speaks_seldom_is_given_more_time():
    watch = board_watch()
    watch.expect(300)
    assert watch.tick(T0_MS + 299_999) == []
    assert len(watch.tick(T0_MS + 300_000)) == 1


def test_old_news_does_not_turn_time_back():
    watch = board_watch()
    watch.heard(T0_MS + 20_000)
    watch.heard(T0_MS + 5_000)
    assert watch.tick(T0_MS + 49_999) == []


def test_an_event_left_open_is_taken_up_and_closed():
    (event,) = board_watch().tick(T0_MS + 60_000)
    later = board_watch(started_ms=T0_MS + 500_000, open_events=[replace(event, subject="b2"), event])
    assert later.tick(T0_MS + 600_000) == []
    (closed,) = later.heard(T0_MS + 630_000)
    assert closed.identity == event.identity
    assert closed.closing == "spoke again after 10 min"


def test_an_acknowledgement_stays():
    watch = board_watch()
    (event,) = watch.tick(T0_MS + 60_000)
    assert watch.acknowledge("board_silent.b1.7", T0_MS) is None
    assert watch.acknowledge(event.identity, T0_MS + 70_000).acknowledged_ms == T0_MS + 70_000
    (closed,) = watch.heard(T0_MS + 80_000)
    assert closed.acknowledged_ms == T0_MS + 70_000


def test_a_step_of_the_clock_is_no_silence():
    watch = board_watch()
    watch.heard(T0_MS + 10_000)
    watch.restamp(3_600_000)
    assert watch.tick(T0_MS + 3_600_000 + 39_999) == []
    assert len(watch.tick(T0_MS + 3_600_000 + 40_000)) == 1


def test_silence_is_five_missed_readings_but_not_under_half_a_minute():
    assert default_silence_s(0.1) == 30
    assert default_silence_s(10) == 50


# Restarts, and a clock that jumps


def test_a_board_that_starts_again_four_times_in_an_hour_is_told_and_closes_an_hour_after_the_last():
    board = board_watch()
    assert [board.started_again(T0_MS + n * 600_000) for n in range(3)] == [[], [], []]
    (event,) = board.started_again(T0_MS + 1_800_000)
    assert (event.kind, event.severity) == (EventKind.BOARD_RESTARTING, Severity.TODAY)
    assert event.sentence == "started again 4 times within 30 min"
    assert event.subject_kind == "board"
    assert board.started_again(T0_MS + 2_400_000) == []
    assert board.open_events == (event,)
    board.heard(T0_MS + 5_999_999)
    assert board.tick(T0_MS + 5_999_999) == []
    board.heard(T0_MS + 6_020_000)
    (closed,) = board.tick(T0_MS + 6_030_000)
    assert closed.closed_ms == T0_MS + 6_000_000
    assert closed.evidence["times_more"] == 1


def test_a_board_that_is_plugged_in_anew_now_and_then_is_no_event():
    board = board_watch()
    assert [event for n in range(20) for event in board.started_again(T0_MS + n * 1_300_000)] == []


def test_a_board_whose_time_jumps_three_times_in_an_hour_is_told():
    board = board_watch()
    changed = [event for n in range(3) for event in board.clock_jumped(T0_MS + n * 1_800_000)]
    assert [event.kind for event in changed] == [EventKind.BOARD_CLOCK_WRONG]


def test_restarts_are_taken_up_and_moved_with_the_clock():
    board = board_watch()
    events = [event for n in range(4) for event in board.started_again(T0_MS + n * 60_000)]
    later = board_watch(open_events=events)
    assert later.open_events == tuple(events)
    later.restamp(1000, [event.moved(1000) for event in events])
    (closed,) = [e for e in later.tick(T0_MS + 181_000 + 3_600_000) if e.kind is EventKind.BOARD_RESTARTING]
    assert closed.closed_ms == T0_MS + 181_000 + 3_600_000


def test_silence_closed_by_hand_is_told_again_only_after_the_board_has_spoken():
    board = board_watch()
    (event,) = board.tick(T0_MS + 3_600_000)
    closed = board.close(event.identity, T0_MS + 3_600_000)
    assert (closed.closed_ms, closed.closing) == (T0_MS + 3_600_000, "by hand")
    assert board.open_events == ()
    assert board.close(event.identity, T0_MS + 3_600_001) is None
    assert board.tick(T0_MS + 9_600_000) == []
    assert board.heard(T0_MS + 9_600_000) == []
    assert len(board.tick(T0_MS + 9_630_000)) == 1


def test_restarts_closed_by_hand_are_told_again_only_after_an_hour_without_one():
    board = board_watch()
    (event,) = [event for n in range(4) for event in board.started_again(T0_MS + n * 60_000)]
    board.close(event.identity, T0_MS + 200_000)
    again = [event for n in range(4, 60) for event in board.started_again(T0_MS + n * 60_000)]
    assert again == []
    later_ms = T0_MS + 3 * 3_600_000
    assert [e.kind for n in range(4) for e in board.started_again(later_ms + n)] == [event.kind]


def test_a_start_under_the_old_boot_number_is_told_at_once_and_says_what_it_costs():
    board = board_watch()
    (event,) = board.started_under_old_boot("00c0ffee", T0_MS + 1_000)
    assert (event.kind, event.opened_ms) == (EventKind.BOARD_RESTARTING, T0_MS + 1_000)
    assert "old boot number 00c0ffee" in event.sentence
    assert "boot number" in event.advice
    assert board.started_under_old_boot("00c0ffee", T0_MS + 2_000) == []
    board.heard(T0_MS + 3_602_000)
    (closed,) = board.tick(T0_MS + 3_602_000)
    assert (closed.closed_ms, closed.evidence["times_more"]) == (T0_MS + 3_602_000, 1)


def test_a_board_without_boot_numbers_is_said_to_come_back_not_to_start():
    board = board_watch(restart_words="came back on its port")
    (event,) = [event for n in range(4) for event in board.started_again(T0_MS + n)]
    assert event.sentence.startswith("came back on its port 4 times within")


def test_a_watch_that_takes_up_restarts_waits_its_hour_before_it_calls_them_over():
    board = board_watch()
    events = [event for n in range(4) for event in board.started_again(T0_MS + n * 60_000)]
    a_day_later_ms = T0_MS + 86_400_000
    later = board_watch(open_events=events, started_ms=a_day_later_ms)
    later.heard(a_day_later_ms + 3_599_000)
    assert later.tick(a_day_later_ms + 3_599_999) == []
    (closed,) = later.tick(a_day_later_ms + 3_600_000)
    assert (closed.kind, closed.closed_ms) == (EventKind.BOARD_RESTARTING, a_day_later_ms + 3_600_000)
