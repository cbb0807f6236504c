"""Numbers with no more digits than their uncertainty supports."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from baskline.measured_words import measured, percent, rounded_like, short_day, times


@pytest.mark.parametrize(
    ("value", "u_value", "words"),
    [
        (27.13, 1.55, "27.1 ± 3.1"),
        (0.2876, 0.0215, "0.29 ± 0.04"),
        (152.3, 7.2, "152 ± 14"),
        (3.2177, 0.155, "3.2 ± 0.3"),
        (-0.001, 0.01, "0.00 ± 0.02"),
        (20.0, 0.0, "20.00 ± 0.00"),
    ],
)
def test_a_value_has_two_digits_of_its_interval_at_most(value, u_value, words):
    assert measured(value, u_value) == words
    assert rounded_like(value, u_value) == words.partition(" ")[0]


def test_a_unit_follows_and_what_may_be_more_is_said():
    assert measured(27.13, 1.55, "UVI·h") == "27.1 ± 3.1 UVI·h"
    assert measured(27.13, 1.55, at_least=True) == "at least 27.1 ± 3.1"


def test_what_is_not_known_is_no_number():
    assert measured(None, 1.0) == measured(1.0, None) == rounded_like(None, 1.0) == "not known"


@given(st.floats(0, 500), st.floats(0.0005, 47))
def test_the_last_digit_is_neither_finer_than_it_can_be_told_nor_coarser_than_the_interval(value, u_value):
    shown, half = measured(value, u_value).split(" ± ")
    last_digit = 10.0 ** -len(shown.partition(".")[2])
    assert len(half.partition(".")[2]) == len(shown.partition(".")[2])
    assert abs(float(shown) - value) <= 0.501 * last_digit
    assert abs(float(half) - 2 * u_value) <= 0.501 * last_digit
    assert 2 * u_value < 100 * last_digit  # two digits of the interval
    assert last_digit <= max(1.06 * 2 * u_value, 0.01)


@pytest.mark.parametrize(
    ("part", "words"),
    [(0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.9958, "99 %"), (0.9993, "100 %"), (1.0, "100 %")],
)
def test_a_hundred_per_cent_lacks_next_to_nothing(part, words):
    assert percent(part) == words


def test_days_and_counts_read_as_people_say_them():
    assert short_day(date(2025, 5, 3)) == "Sat  3"
    assert [times(n) for n in (1, 2, 3)] == ["once", "twice", "3 times"]
