"""The colours of all charts: words can be read and areas seen, on paper and on a dark page."""

import pytest

from baskline.charts.palette import DARK, LIGHT


def relative_luminance(colour):
    """As WCAG 2.2 defines it."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """As WCAG 2.2 defines it."""
    low, high = sorted(map(relative_luminance, (one, other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_every_ink_can_be_read_on_its_paper(colours):
    for ink in (colours.ink, colours.quiet, colours.band_ink, colours.line, colours.limit):
        assert contrast(ink, colours.paper) >= 4.5  # WCAG 2.2, success criterion 1.4.3, for text of this size


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_inks_that_stand_on_the_band_can_be_read_there(colours):
    for ink in (colours.ink, colours.band_ink, colours.limit):
        assert contrast(ink, colours.band) >= 4.5


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_the_band_is_seen_beside_its_paper_and_lines_are_seen_through_it(colours):
    assert 1.2 < contrast(colours.band, colours.paper) < 2
    assert contrast(colours.line, colours.band) >= 3  # WCAG 2.2, success criterion 1.4.11
    assert contrast(colours.hatch, colours.paper) > 1.8
