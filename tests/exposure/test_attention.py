from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposure.attention import Why, attention
from exposure.attention_settings import AttentionError, AttentionSettings
from exposure.days import local_time_ms
from exposure.events import EventKind, Severity
from exposure.kinds import new_event

ZONE = "Europe/Berlin"
SETTINGS = AttentionSettings(time_zone=ZONE)
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
NOON_MS = local_time_ms(date(2024, 6, 10), 12 * 60, ZONE)
MIDNIGHT_MS = NOON_MS + 12 * HOUR_MS
BOARDS = {"rock": "b1", "cave": "b1", "log": "b2"}


def event(kind=EventKind.OVER_CEILING, subject="rock", at_ms=NOON_MS, **more):
    subject_kind = "board" if kind is EventKind.BOARD_SILENT else "spot"
    return new_event(kind, subject, at_ms, "so", {}, subject_kind=subject_kind, **more)


def off(subject="rock", at_ms=NOON_MS):
    return event(EventKind.LAMP_OFF_BY_DAY, subject, at_ms)


def at(now_ms, *events, told=None, settings=SETTINGS):
    return attention(events, told or {}, now_ms, settings, BOARDS)


def said(answer):
    return [(notice.why, notice.title) for notice in answer.notices]


def follow(events, from_ms, until_ms):
    """Ask whenever the last answer says so, and return when what was told."""
    told, now_ms, heard = {}, from_ms, []
    while now_ms is not None and now_ms <= until_ms:
        answer = at(now_ms, *events, told=told)
        told = answer.told
        heard += [(now_ms, notice) for notice in answer.notices]
        assert answer.next_ms is None or answer.next_ms > now_ms
        now_ms = answer.next_ms
    return heard


def test_what_is_for_now_is_told_at_once_even_at_night():
    for now_ms in (NOON_MS, MIDNIGHT_MS):
        answer = at(now_ms, event(at_ms=now_ms))
        assert said(answer) == [(Why.NEW, "over the ceiling: rock")]
        assert answer.notices[0].urgent


def test_what_is_for_today_waits_for_the_morning_and_is_told_then():
    at_night = off(at_ms=MIDNIGHT_MS)
    answer = at(MIDNIGHT_MS + HOUR_MS, at_night)
    assert answer.notices == ()
    assert answer.next_ms == MIDNIGHT_MS + 7 * HOUR_MS
    morning = at(answer.next_ms, at_night, told=answer.told)
    assert said(morning) == [(Why.NEW, "lamp off by day: rock")]
    assert not morning.notices[0].urgent


def test_a_timer_that_takes_three_lamps_with_it_is_told_once():
    lamps = [off("rock"), off("cave", NOON_MS + MINUTE_MS), off("log", NOON_MS + 4 * MINUTE_MS)]
    assert at(NOON_MS + 4 * MINUTE_MS, *lamps).notices == ()
    answer = at(NOON_MS + 5 * MINUTE_MS, *lamps)
    assert said(answer) == [(Why.NEW, "lamp off by day: cave, log, rock")]
    assert at(NOON_MS + 9 * MINUTE_MS, *lamps, told=answer.told).notices == ()


def test_a_silent_board_is_one_event_and_not_one_a_spot():
    silent = event(EventKind.BOARD_SILENT, "b1")
    answer = at(NOON_MS + HOUR_MS, silent, off("rock"), off("cave"), off("log"))
    assert said(answer) == [(Why.NEW, "board silent: b1"), (Why.NEW, "lamp off by day: log")]


def test_four_silent_boards_are_one_notice():
    boards = [event(EventKind.BOARD_SILENT, f"b{n}", NOON_MS + n * 1000) for n in range(4)]
    assert said(at(NOON_MS + HOUR_MS, *boards)) == [(Why.NEW, "board silent: b0, b1, b2, b3")]


def test_a_silent_board_does_not_hide_a_ceiling_that_was_passed():
    answer = at(NOON_MS, event(EventKind.BOARD_SILENT, "b1"), event())
    assert (Why.NEW, "over the ceiling: rock") in said(answer)


def test_what_is_for_now_is_told_again_less_and_less_often_until_acknowledged():
    heard = follow([event(at_ms=MIDNIGHT_MS)], MIDNIGHT_MS, MIDNIGHT_MS + 8 * HOUR_MS)
    after_min = [(now_ms - MIDNIGHT_MS) // MINUTE_MS for now_ms, _ in heard]
    assert after_min == [0, 15, 45, 105, 225, 345, 465]
    assert [notice.escalated for _, notice in heard] == [False] * 3 + [True] * 4
    assert [notice.why for _, notice in heard[:2]] == [Why.NEW, Why.AGAIN]


def test_what_is_for_today_is_told_again_once_a_day_and_escalated_after_three():
    heard = follow([off()], NOON_MS, NOON_MS + 100 * HOUR_MS)
    assert [round((now_ms - NOON_MS) / HOUR_MS) for now_ms, _ in heard] == [0, 24, 48, 72, 96]
    assert [notice.escalated for _, notice in heard] == [False, False, False, True, True]
    assert not any(notice.urgent for _, notice in heard)


def test_what_a_clock_that_was_ahead_has_told_the_time_of_is_told_now():
    ahead = off(at_ms=NOON_MS + 400 * 24 * HOUR_MS)
    answer = at(NOON_MS, ahead)
    assert said(answer) == [(Why.NEW, "lamp off by day: rock")]
    over = ahead.closed(ahead.opened_ms + HOUR_MS, "the lamp is lit")
    assert said(at(NOON_MS + MINUTE_MS, over, told=answer.told)) == [
        (Why.OVER, "lamp off by day: rock (ended)")
    ]


def test_a_note_is_told_once():
    note = event(EventKind.LAMP_FADING)
    heard = follow([note], NOON_MS, NOON_MS + 100 * HOUR_MS)
    assert [notice.title for _, notice in heard] == ["lamp fading: rock"]


def test_what_was_acknowledged_is_not_told_again_unless_it_becomes_graver():
    probable = event(severity=Severity.TODAY).acknowledged(NOON_MS)
    answer = at(NOON_MS + HOUR_MS, probable)
    assert (answer.notices, answer.next_ms) == ((), None)
    sure = event(severity=Severity.NOW)
    graver = at(NOON_MS + 2 * HOUR_MS, sure, told=answer.told)
    assert said(graver) == [(Why.GRAVER, "over the ceiling: rock (graver now)")]


def test_what_was_told_and_becomes_graver_is_told_at_once():
    told = at(NOON_MS + HOUR_MS, event(severity=Severity.TODAY)).told
    assert said(at(NOON_MS + 61 * MINUTE_MS, event(), told=told))[0][0] == Why.GRAVER


def test_that_it_is_over_is_told_once_to_somebody_who_was_told_and_not_at_night():
    told = at(NOON_MS, event()).told
    over = event().closed(MIDNIGHT_MS, "back")
    night = at(MIDNIGHT_MS + HOUR_MS, over, told=told)
    assert night.notices == ()
    morning = at(night.next_ms, over, told=night.told)
    assert said(morning) == [(Why.OVER, "over the ceiling: rock (ended)")]
    assert morning.told == {}
    assert not morning.notices[0].urgent


def test_thirty_boards_that_speak_again_one_after_the_other_are_one_notice():
    boards = [event(EventKind.BOARD_SILENT, f"b{n:02}", NOON_MS) for n in range(30)]
    told = at(NOON_MS + 5 * MINUTE_MS, *boards).told
    assert set(told) == {board.identity for board in boards}
    back_ms = NOON_MS + HOUR_MS
    boards = [board.closed(back_ms + n * 1_000, "spoke again") for n, board in enumerate(boards)]
    for n in range(30):  # asked at each change
        answer = at(back_ms + n * 1_000, *boards[: n + 1], told=told)
        assert answer.notices == ()
        assert answer.next_ms == back_ms + 5 * MINUTE_MS
        told = answer.told | {board.identity: told[board.identity] for board in boards[n + 1 :]}
    over = at(back_ms + 5 * MINUTE_MS, *boards, told=told)
    (notice,) = over.notices
    assert (notice.why, notice.kind, len(notice.events)) == (Why.OVER, EventKind.BOARD_SILENT, 30)
    assert over.told == {}


def test_a_notice_calls_places_what_the_keeper_calls_them():
    answer = attention([event()], {}, NOON_MS, SETTINGS, BOARDS, name_of=lambda each: f"{each.subject} ledge")
    assert [notice.title for notice in answer.notices] == ["over the ceiling: rock ledge"]


def test_what_was_over_before_it_was_due_is_not_told_unless_it_was_for_now():
    lamp = off().closed(NOON_MS + MINUTE_MS, "the lamp is lit")
    breach = event().closed(NOON_MS + MINUTE_MS, "back")
    answer = at(NOON_MS + MINUTE_MS, lamp, breach)
    assert said(answer) == [(Why.MISSED, "over the ceiling: rock (ended already)")]
    assert answer.notices[0].urgent


def test_that_an_acknowledged_event_is_over_is_not_told():
    told = at(NOON_MS, event()).told
    over = event().acknowledged(NOON_MS + 1).closed(NOON_MS + HOUR_MS, "back")
    assert at(NOON_MS + HOUR_MS, over, told=told).notices == ()


def test_without_quiet_hours_nothing_waits_for_the_morning():
    settings = AttentionSettings(quiet_from_minute=None, quiet_until_minute=None)
    answer = at(MIDNIGHT_MS + HOUR_MS, off(at_ms=MIDNIGHT_MS), settings=settings)
    assert len(answer.notices) == 1


def test_quiet_hours_within_a_day_end_the_same_day():
    settings = AttentionSettings(quiet_from_minute=720, quiet_until_minute=840, time_zone=ZONE)
    assert at(NOON_MS + HOUR_MS, off(), settings=settings).next_ms == NOON_MS + 2 * HOUR_MS


@given(
    st.lists(
        st.tuples(
            st.sampled_from([EventKind.OVER_CEILING, EventKind.LAMP_OFF_BY_DAY, EventKind.LAMP_FADING]),
            st.sampled_from(["rock", "cave", "log"]),
            st.integers(0, 48 * 60),
        ),
        max_size=8,
        unique_by=lambda each: each[:2],
    )
)
def test_everything_that_stays_open_is_told_in_the_end_and_nothing_for_today_at_night(rows):
    events = [event(kind, subject, NOON_MS + minute * MINUTE_MS) for kind, subject, minute in rows]
    told, heard = {}, []
    for now_ms in range(NOON_MS, NOON_MS + 72 * HOUR_MS, 10 * MINUTE_MS):
        open_now = [each for each in events if each.opened_ms <= now_ms]
        answer = at(now_ms, *open_now, told=told)
        told = answer.told
        hour = ((now_ms - NOON_MS) / HOUR_MS + 12) % 24
        night = not 7 <= hour < 22
        for notice in answer.notices:
            heard += [each.identity for each in notice.events]
            assert notice.urgent or not night
    assert set(heard) == {each.identity for each in events}


@pytest.mark.parametrize(
    "wrong",
    [
        {"quiet_from_minute": None},
        {"quiet_until_minute": 1440},
        {"quiet_from_minute": 420},
        {"again_now_s": 0},
        {"again_now_most_s": 600},
        {"gather_s": -1},
        {"escalate_after": 0},
    ],
)
def test_settings_that_cannot_be_meant_are_refused(wrong):
    with pytest.raises(AttentionError):
        AttentionSettings(**wrong)
