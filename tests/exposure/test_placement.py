import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposure.placement import (
    CompactLamp,
    PlacementError,
    TubeLamp,
    distance_for_cm,
    fit_virtual_origin,
    uvi_at,
)

LAMPS = st.one_of(
    st.builds(CompactLamp, st.floats(1, 20), st.floats(0, 30)), st.builds(TubeLamp, st.floats(20, 150))
)


def reading(lamp, distance_cm, measured_cm=30.0, **more):
    return uvi_at(
        lamp, measured_uvi=3.0, u_measured_uvi=0.15, measured_cm=measured_cm, distance_cm=distance_cm, **more
    )


@given(LAMPS, st.floats(10, 100), st.floats(10, 100))
def test_nearer_is_stronger(lamp, one_cm, other_cm):
    near_cm, far_cm = sorted([one_cm, other_cm])
    assert reading(lamp, near_cm).uvi >= reading(lamp, far_cm).uvi


@given(LAMPS, st.floats(10, 100), st.floats(10, 100))
def test_the_distance_for_a_uvi_is_the_one_that_gives_it(lamp, measured_cm, distance_cm):
    wanted = reading(lamp, distance_cm, measured_cm).uvi
    found = distance_for_cm(lamp, measured_uvi=3.0, measured_cm=measured_cm, wanted_uvi=wanted)
    assert found == pytest.approx(distance_cm, rel=1e-9)


@given(LAMPS, st.floats(10, 100))
def test_at_the_measured_place_the_estimate_is_the_reading_and_its_doubt_hardly_more(lamp, measured_cm):
    estimate = reading(lamp, measured_cm, measured_cm, u_cm=0.0)
    assert estimate.uvi == pytest.approx(3.0)
    assert estimate.u_uvi == pytest.approx(0.15)


@given(LAMPS, st.floats(15, 100))
def test_the_doubt_of_a_distance_counts_by_how_steep_the_light_falls(lamp, measured_cm):
    step = 1e-4
    slope = math.log(
        reading(lamp, measured_cm * (1 - step), measured_cm).uvi
        / reading(lamp, measured_cm * (1 + step), measured_cm).uvi
    ) / math.log((1 + step) / (1 - step))
    estimate = uvi_at(
        lamp,
        measured_uvi=3.0,
        u_measured_uvi=0.0,
        measured_cm=measured_cm,
        distance_cm=measured_cm,
        u_cm=0.5,
    )
    assert estimate.u_uvi / 3.0 == pytest.approx(math.sqrt(2) * slope * 0.5 / measured_cm, rel=1e-4)


def test_every_estimate_asks_to_be_measured():
    for lamp in (CompactLamp(4), TubeLamp(55)):
        assert "measure there" in reading(lamp, 35).cautions[0]


def test_close_to_a_compact_lamp_and_far_from_the_measured_place_the_keeper_is_warned():
    assert any("no point" in caution for caution in reading(CompactLamp(8), 35).cautions)
    assert not any("no point" in caution for caution in reading(CompactLamp(4), 35).cautions)
    assert any("rough guide" in caution for caution in reading(CompactLamp(4), 61).cautions)
    assert any("reflector" in caution for caution in reading(TubeLamp(55), 35).cautions)


def test_a_virtual_origin_is_found_from_readings():
    distances_cm = [20, 30, 40, 60]
    readings_uvi = [1000 / (d + 7.5) ** 2 for d in distances_cm]
    lamp, misfit = fit_virtual_origin(distances_cm, readings_uvi, size_cm=6)
    assert lamp.virtual_origin_cm == pytest.approx(7.5)
    assert misfit == pytest.approx(0, abs=1e-12)


def test_a_lamp_that_is_no_point_shows_a_misfit():
    tube = TubeLamp(120)
    distances_cm = [10, 20, 30, 60]
    readings_uvi = [reading(tube, d).uvi for d in distances_cm]
    _, misfit = fit_virtual_origin(distances_cm, readings_uvi, size_cm=120)
    assert misfit > 0.05


@pytest.mark.parametrize(
    ("distances_cm", "readings_uvi"),
    [
        ([20, 30], [3, 2]),
        ([20, 30, 30], [3, 2, 2]),
        ([20, 30, 40], [3, 2, 0]),
        ([20, 30, 40], [1, 2, 3]),
        ([20, 30, 40], [3, 2]),
    ],
)
def test_readings_that_make_no_curve_are_refused(distances_cm, readings_uvi):
    with pytest.raises(PlacementError):
        fit_virtual_origin(distances_cm, readings_uvi, size_cm=5)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_distances_and_sizes_that_cannot_be_are_refused(wrong):
    with pytest.raises(PlacementError):
        TubeLamp(wrong)
    with pytest.raises(PlacementError):
        CompactLamp(wrong)
    with pytest.raises(PlacementError):
        reading(TubeLamp(55), wrong)


def test_more_than_the_lamp_can_give_is_refused():
    with pytest.raises(PlacementError, match="not reached"):
        distance_for_cm(CompactLamp(5, 10), measured_uvi=1, measured_cm=30, wanted_uvi=50)
