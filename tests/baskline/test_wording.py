"""Words for numbers."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from baskline.measured_words import measured
from baskline.wording import clock_time, event_words, hours
from exposure.events import Event, EventKind, Severity

VIENNA = ZoneInfo("Europe/Vienna")
NOON_UTC_MS = 1_747_483_200_000
"""Of 17 May 2025."""


@pytest.mark.parametrize(
    ("value", "u_value", "unit", "said"),
    [
        (2.94, 0.16, "UVI", "2.9 ± 0.3 UVI"),
        (0.652, 0.034, "", "0.65 ± 0.07"),
        (21.56, 1.234, "UVI·h", "21.6 ± 2.5 UVI·h"),
        (-0.001, 0.01, "", "0.00 ± 0.02"),
        (None, None, "UVI", "not known"),
        (1.0, None, "", "not known"),
    ],
)
def test_a_value_stands_with_twice_its_standard_uncertainty(value, u_value, unit, said):
    assert measured(value, u_value, unit) == said


def test_a_value_that_may_be_higher_says_at_least():
    assert measured(9.5, 0.4, "UVI", at_least=True) == "at least 9.5 ± 0.8 UVI"


def test_hours_are_said_to_a_tenth():
    assert [hours(1.25), hours(0.0), hours(None)] == ["1.2 h", "0.0 h", "not known"]


def test_the_clock_is_the_keepers():
    assert clock_time(1_747_483_200_000, VIENNA) == "14:00"  # 12:00 UTC on 17 May 2025


@pytest.mark.parametrize(
    ("subject_kind", "closed_ms", "said"),
    [
        ("spot", None, "14:00 above the ceiling (open)"),
        ("spot", 1_747_486_800_000, "14:00 above the ceiling; until 15:00"),
        ("spot", 1_747_483_200_000, "14:00 above the ceiling"),
        ("board", None, "14:00 board rock-1 above the ceiling (open)"),
    ],
)
def test_an_event_is_told_with_its_time_and_a_board_with_its_name(subject_kind, closed_ms, said):
    event = Event(
        identity="x",
        kind=EventKind.OVER_CEILING,
        subject_kind=subject_kind,
        subject="rock-1",
        severity=Severity.NOW,
        opened_ms=1_747_483_200_000,
        sentence="above the ceiling",
        advice="",
        closed_ms=closed_ms,
    )
    assert event_words(event, VIENNA, date(2025, 5, 17)) == said


def test_a_time_of_another_day_says_which():
    event = Event(
        identity="e",
        kind=EventKind.LAMP_FADING,
        subject_kind="spot",
        subject="slate",
        severity=Severity.NOTE,
        opened_ms=NOON_UTC_MS,
        sentence="fading",
        advice="",
        closed_ms=NOON_UTC_MS + 2 * 86_400_000,
    )
    told = [event_words(event, VIENNA, date(2025, 5, day)) for day in (17, 18, 19)]
    assert told == [
        "14:00 fading; until 19 May 14:00",
        "17 May 14:00 fading; until 19 May 14:00",
        "17 May 14:00 fading; until 14:00",
    ]
