import math

import pytest

from calibrate.samples import Flag
from exposure.bands import Band
from exposure.place import Place, place_of

BAND = Band(1.0, 2.6, 3.5)


@pytest.mark.parametrize(
    ("uvi", "place"),
    [
        (0.0, Place.DARK),
        (0.5, Place.UNDER_BAND),
        (1.0, Place.IN_BAND),
        (2.6, Place.IN_BAND),
        (3.0, Place.ABOVE_BAND),
        (3.5, Place.ABOVE_BAND),
        (3.6, Place.OVER_CEILING),
    ],
)
def test_a_value_has_its_place_with_the_bands_ends_inside(uvi: float, place: Place) -> None:
    assert place_of(uvi, 0.02, Flag(0), BAND) is place


def test_a_value_within_its_own_doubt_of_zero_is_dark() -> None:
    assert place_of(0.15, 0.1, Flag(0), BAND) is Place.DARK


@pytest.mark.parametrize("flag", [Flag.UNCALIBRATED, Flag.MISSING, Flag.SENSOR_FAULT])
def test_without_a_value_the_place_is_unknown(flag: Flag) -> None:
    assert place_of(math.nan, math.nan, flag, BAND) is Place.UNKNOWN


def test_a_lower_bound_can_show_only_that_the_ceiling_is_passed() -> None:
    assert place_of(2.0, 0.1, Flag.SATURATED, BAND) is Place.UNKNOWN
    assert place_of(4.0, 0.1, Flag.SATURATED, BAND) is Place.OVER_CEILING
