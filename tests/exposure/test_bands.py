import math

import pytest

from exposure.bands import Band, BandError


def test_a_typed_band_keeps_its_numbers():
    band = Band(1.1, 3.0, 4.5)
    assert (band.low_uvi, band.high_uvi, band.ceiling_uvi) == (1.1, 3.0, 4.5)


def test_a_ceiling_may_equal_the_top_of_the_band():
    assert Band(1.1, 3.0, 3.0).ceiling_uvi == 3.0


@pytest.mark.parametrize(
    ("low", "high", "ceiling", "said"),
    [
        (3.0, 1.1, 4.5, "low (3) is not below high (1.1)"),
        (1.1, 1.1, 4.5, "is not below"),
        (1.1, 3.0, 2.9, "ceiling (2.9) is below high (3)"),
        (-0.1, 3.0, 4.5, "low is -0.1"),
        (1.1, 3.0, 45.0, "ceiling is 45"),
        (1.1, math.nan, 4.5, "high is nan"),
        (1.1, 3.0, math.inf, "ceiling is inf"),
    ],
)
def test_a_band_that_cannot_be_meant_is_refused_in_words(low, high, ceiling, said):
    with pytest.raises(BandError) as caught:
        Band(low, high, ceiling)
    assert said in str(caught.value)
    assert caught.value.remedy
