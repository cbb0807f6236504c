"""What careful keepers do.  Common practice, no source: it checks our sense of proportion, no more."""

from exposure.bands import Band
from exposure.zones import zone


def test_a_skink_between_zones_2_and_3_kept_at_1_1_to_3_0_is_well_served_by_1_5_to_2_5():
    # common practice, no source: a blue-tongued skink, 1.5-2.5 through mesh over about a square foot
    band = Band(1.1, 3.0, 3.0)
    assert band.low_uvi < 1.5 < 2.5 < band.high_uvi
    # and that band is zone 2's published range of maxima
    assert (zone(2).maximum_low_uvi, zone(2).maximum_high_uvi) == (band.low_uvi, band.high_uvi)
