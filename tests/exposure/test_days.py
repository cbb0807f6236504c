from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposure.days import DayError, day_bounds, iso_local, iso_utc, local_date, local_time_ms

ZONES = [
    "Europe/Berlin",
    "America/Sao_Paulo",
    "America/Havana",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "UTC",
]


@pytest.mark.parametrize(
    ("day", "time_zone", "hours"),
    [
        (date(2024, 6, 1), "Europe/Berlin", 24),
        (date(2024, 3, 31), "Europe/Berlin", 23),
        (date(2024, 10, 27), "Europe/Berlin", 25),
        (
            date(2018, 11, 4),
            "America/Sao_Paulo",
            23,
        ),  # on at midnight: it began at 01:00
        (date(2018, 2, 17), "America/Sao_Paulo", 25),  # back at midnight: its last hour came twice
        (date(2024, 11, 3), "America/Havana", 25),  # back at 01:00: its first hour came twice
        (date(2024, 4, 7), "Australia/Lord_Howe", 24.5),  # half an hour
    ],
)
def test_a_day_lasts_as_long_as_the_keepers_clock_says(day, time_zone, hours):
    assert day_bounds(day, time_zone).hours == hours


def test_bounds_are_utc_milliseconds():
    bounds = day_bounds(date(2024, 3, 31), "Europe/Berlin")
    assert iso_utc(bounds.start_ms) == "2024-03-30T23:00:00Z"
    assert iso_utc(bounds.end_ms) == "2024-03-31T22:00:00Z"
    assert iso_local(bounds.end_ms, "Europe/Berlin") == "2024-04-01T00:00:00+02:00"


@given(st.dates(date(1990, 1, 2), date(2036, 12, 30)), st.sampled_from(ZONES))
def test_days_follow_each_other_without_gap_or_overlap(day, time_zone):
    days = [day + timedelta(days=step) for step in (-1, 0, 1)]
    for earlier, later in pairwise(day_bounds(each, time_zone) for each in days):
        assert earlier.end_ms == later.start_ms


@given(st.integers(631152000, 2114380800), st.sampled_from(ZONES))
def test_a_moment_lies_in_the_day_that_the_clock_shows(utc_s, time_zone):
    day = local_date(utc_s * 1000, time_zone)
    assert day == datetime.fromtimestamp(utc_s, ZoneInfo(time_zone)).date()
    bounds = day_bounds(day, time_zone)
    assert bounds.start_ms <= utc_s * 1000 < bounds.end_ms


def test_a_day_that_was_never_lived_is_refused():
    with pytest.raises(DayError, match="2011-12-30 was left out"):
        day_bounds(date(2011, 12, 30), "Pacific/Apia")


@pytest.mark.parametrize("time_zone", ["Europe/Berlim", "", "../etc/passwd", "Europe"])
def test_an_unknown_time_zone_is_refused_in_words(time_zone):
    with pytest.raises(DayError, match="IANA name"):
        day_bounds(date(2024, 1, 1), time_zone)


def test_a_clock_time_that_comes_twice_is_the_first():
    at_ms = local_time_ms(date(2024, 10, 27), 150, "Europe/Berlin")
    assert iso_local(at_ms, "Europe/Berlin") == "2024-10-27T02:30:00+02:00"


def test_a_clock_time_that_is_left_out_is_the_moment_of_the_change():
    at_ms = local_time_ms(date(2024, 3, 31), 150, "Europe/Berlin")
    assert iso_local(at_ms, "Europe/Berlin") == "2024-03-31T03:00:00+02:00"


def test_minutes_past_midnight_are_clock_times_of_the_next_day():
    at_ms = local_time_ms(date(2024, 3, 30), 1440 + 8 * 60, "Europe/Berlin")
    assert iso_local(at_ms, "Europe/Berlin") == "2024-03-31T08:00:00+02:00"


@pytest.mark.parametrize("day", [date.min, date.max])
def test_the_ends_of_the_calendar_are_refused(day: date) -> None:
    with pytest.raises(DayError, match="no readings can be from"):
        day_bounds(day, "Pacific/Kiritimati")
