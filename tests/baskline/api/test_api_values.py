"""Times and days as RFC 3339 has them."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from baskline.api.values import FIRST_DAY, LAST_DAY, AskedDay, AskedTime

TIME, A_DAY = TypeAdapter(AskedTime), TypeAdapter(AskedDay)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@given(
    st.datetimes(EPOCH.replace(day=2, tzinfo=None), EPOCH.replace(year=2999, tzinfo=None)),
    st.integers(-23 * 60, 23 * 60),
    st.integers(0, 999),
)
def test_a_time_is_that_moment_whatever_its_offset(local, offset_minutes, ms):
    sign = "-" if offset_minutes < 0 else "+"
    hours, minutes = divmod(abs(offset_minutes), 60)
    text = f"{local:%Y-%m-%dT%H:%M:%S}.{ms:03}{sign}{hours:02}:{minutes:02}"
    at = local.replace(microsecond=1000 * ms, tzinfo=UTC) - timedelta(minutes=offset_minutes)
    assert TIME.validate_python(text) == (at - EPOCH) // timedelta(milliseconds=1)


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("1970-01-01T00:00:01Z", 1_000),
        ("1970-01-01t00:00:01.5z", 1_500),
        ("2016-12-31T23:59:60Z", 1_483_228_800_000),  # a leap second counts as the second after it
        ("1969-07-20T20:17:40Z", 0),
        ("0000-01-01T00:00:00Z", 0),
        ("0001-01-01T00:00:00+23:59", 0),
        ("9999-12-31T23:59:59-23:59", 253_402_300_799_999),
        ("2025-05-17T10:00:00.123456789Z", 1_747_476_000_123),
    ],
)
def test_the_edges_of_time_are_times_too(text, ms):
    assert TIME.validate_python(text) == ms


@pytest.mark.parametrize(
    "text", ["", "0", "1747476000", "yesterday", "2025-05-17", "2025-05-17T10:00:00", "2025-02-30T00:00:00Z"]
)
def test_what_is_no_time_is_refused(text):
    with pytest.raises(ValidationError):
        TIME.validate_python(text)


@given(st.dates())
def test_a_day_is_itself_within_what_can_be_stored(day):
    assert A_DAY.validate_python(day.isoformat()) == min(max(day, FIRST_DAY), LAST_DAY)


def test_the_year_0_is_before_everything():
    assert A_DAY.validate_python("0000-02-29") == FIRST_DAY == date(1970, 1, 1)


@pytest.mark.parametrize(
    "text", ["", "17.5.2025", "2025-5-17", "2025-02-30", "20250517", "2025-W20-6", "today"]
)
def test_what_is_no_day_is_refused(text):
    with pytest.raises(ValidationError):
        A_DAY.validate_python(text)
