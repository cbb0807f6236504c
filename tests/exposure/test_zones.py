import pytest

from exposure.zones import ZoneError, zone, zone_band, zones


def test_means_meet_without_gap_or_overlap():
    for lower, upper in zip(zones(), zones()[1:], strict=False):
        assert lower.mean_high_uvi == upper.mean_low_uvi


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_zones_band_is_its_means_under_its_greatest_maximum(number):
    band = zone_band(number)
    assert (band.low_uvi, band.high_uvi) == (zone(number).mean_low_uvi, zone(number).mean_high_uvi)
    assert band.ceiling_uvi == zone(number).maximum_high_uvi


def test_where_pages_disagree_the_lower_ceiling_stands():
    assert zone_band(4).ceiling_uvi == 8.0
    assert "9.5" in zone(4).conflict


def test_every_zone_says_where_it_comes_from_and_that_the_papers_were_not_read():
    for each in zones():
        assert "2010" in each.source
        assert each.seen
        assert not each.verified


@pytest.mark.parametrize("number", [0, 5, -1])
def test_an_unknown_zone_is_refused_with_the_valid_ones(number):
    with pytest.raises(ZoneError, match="Give 1, 2, 3 or 4"):
        zone(number)
