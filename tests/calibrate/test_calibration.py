from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.calibration import (
    Calibration,
    CalibrationError,
    Channel,
    LampFactor,
    Temperature,
    Uncertainty,
)
from calibrate.models import LineModel
from calibrate.samples import Flag
from tests.calibrate.strategies import calibrations

LINE = Calibration(
    lamp_kind="t5",
    sensor_kind="guva-s12sd",
    model=LineModel(("uva_counts",), (10.0,), (0.01,)),
    channels=(Channel("uva_counts", noise=2.0, valid_range=(0.0, 810.0), saturation=4095.0),),
    uvi_range=(0.0, 8.0),
    uncertainty=Uncertainty(((1.0, 0.0), (0.0, 1e-8)), reference_relative=0.05),
    made_on=date(2026, 3, 2),
)
WARM = replace(
    LINE,
    temperature=Temperature(
        "temperature_c", 25.0, (15.0, 45.0), coefficient_per_c=0.002, u_coefficient_per_c=0.0005
    ),
)


def convert(calibration, counts, marks=None, **how):
    columns = {"uva_counts": np.array(counts, dtype=float)}
    if "temperature_c" in how:
        columns["temperature_c"] = np.array(how.pop("temperature_c"), dtype=float)
    marks = None if marks is None else np.array(marks, dtype=np.uint32)
    return calibration.convert(columns, marks, **how)


def test_counts_above_dark_become_uvi():
    assert convert(LINE, [10, 310]).uvi == pytest.approx([0, 3])


def test_the_uncertainty_is_the_root_sum_square_of_its_parts():
    # noise 2 counts, dark 1 count, slope 1e-4 at 300 counts net, meter 5 % of 3
    expected = np.sqrt((2 * 0.01) ** 2 + (1 * 0.01) ** 2 + (300 * 1e-4) ** 2 + (0.05 * 3) ** 2)
    assert convert(LINE, [310]).u_uvi == pytest.approx([expected], rel=1e-12)


def test_correlated_parameters_enter_with_their_covariance():
    correlated = replace(LINE, uncertainty=Uncertainty(((1.0, 5e-5), (5e-5, 1e-8))))
    by_dark, by_slope = -0.01, 300.0
    expected = (2 * 0.01) ** 2 + by_dark**2 + by_slope**2 * 1e-8 + 2 * by_dark * by_slope * 5e-5
    assert convert(correlated, [310]).u_uvi ** 2 == pytest.approx([expected], rel=1e-12)


def test_a_clean_reading_has_no_flag():
    assert convert(LINE, [310], marks=[0], lamp_kind="t5", age_days=3).flags == [0]


@pytest.mark.parametrize(
    ("counts", "mark", "flag"),
    [
        (310, 1, Flag.SATURATED),
        (310, 2, 0),
        (310, 1 << 16, Flag.CLOCK_UNSURE),
        (4095, 0, Flag.SATURATED | Flag.ABOVE_RANGE),
        (900, 0, Flag.ABOVE_RANGE),
        (9, 0, 0),
        (0, 0, Flag.NEGATIVE),
        (-100, 0, Flag.NEGATIVE | Flag.BELOW_RANGE),
        (np.nan, 0, Flag.MISSING),
        (np.inf, 0, Flag.MISSING),
        (1e300, 0, Flag.MISSING),
        (310, 4, 0),  # another sensor of the board
        (np.nan, 4 | 1 << 16, Flag.MISSING | Flag.SENSOR_FAULT | Flag.CLOCK_UNSURE),
    ],
)
def test_what_is_wrong_is_flagged(counts, mark, flag):
    assert convert(LINE, [counts], marks=[mark]).flags == [flag]


def test_a_reading_without_value_is_nan_and_spares_its_neighbours():
    converted = convert(LINE, [np.nan, np.nan, 310], marks=[4, 0, 0])
    assert np.isnan(converted.uvi).tolist() == [True, True, False]
    assert np.isnan(converted.u_uvi).tolist() == [True, True, False]
    assert converted.flags.tolist() == [Flag.MISSING | Flag.SENSOR_FAULT, Flag.MISSING, 0]


def test_an_absent_channel_gives_no_values_but_keeps_the_marks():
    converted = LINE.convert({"other": np.zeros(2)}, np.array([0, 4], dtype=np.uint32))
    assert np.isnan(converted.uvi).all()
    assert converted.flags.tolist() == [Flag.MISSING, Flag.MISSING | Flag.SENSOR_FAULT]


def test_below_dark_is_zero_and_beyond_noise_it_says_how_far_below():
    within, beyond = convert(LINE, [6, -40]).u_uvi
    assert convert(LINE, [6, -40]).uvi.tolist() == [0, 0]
    assert within == pytest.approx(0.01 * np.sqrt(5), rel=0.01)
    assert beyond > 0.5


def test_above_the_calibrated_range_the_uncertainty_grows_with_the_excess():
    inside, outside = convert(LINE, [810, 1210]).u_uvi
    assert outside**2 >= inside**2 + (0.25 * 4) ** 2


def test_a_range_that_begins_above_zero_flags_what_is_below():
    assert convert(replace(LINE, uvi_range=(1.0, 8.0)), [60, 310]).flags.tolist() == [Flag.BELOW_RANGE, 0]


def test_under_another_lamp_kind_the_whole_value_is_added_to_the_uncertainty():
    own, other = convert(LINE, [310], lamp_kind="t5"), convert(LINE, [310], lamp_kind="uv-led")
    assert other.flags == [Flag.OTHER_LAMP_KIND]
    assert other.uvi == own.uvi
    assert other.u_uvi == pytest.approx(np.hypot(own.u_uvi, 1.0 * 3))


def test_a_known_factor_corrects_for_another_lamp_kind_and_is_still_flagged():
    known = replace(LINE, lamp_factors=(LampFactor("uv-led", 1.5, 0.2),))
    own, other = convert(LINE, [310]), convert(known, [310], lamp_kind="uv-led")
    assert other.flags == [Flag.OTHER_LAMP_KIND]
    assert other.uvi == pytest.approx(1.5 * own.uvi)
    assert other.u_uvi == pytest.approx(1.5 * np.hypot(own.u_uvi, 0.2 * 3))


def test_age_widens_and_an_old_calibration_is_flagged():
    ageing = replace(LINE, uncertainty=replace(LINE.uncertainty, drift_relative_per_year=0.1))
    new, old = convert(ageing, [310], age_days=0), convert(ageing, [310], age_days=730.5)
    assert (new.flags, old.flags) == ([0], [Flag.STALE_CALIBRATION])
    assert old.u_uvi == pytest.approx(np.hypot(new.u_uvi, 0.2 * 3))


def test_temperature_is_corrected_about_the_reference():
    converted = convert(WARM, [310, 310], temperature_c=[25, 35])
    assert converted.uvi == pytest.approx([3, 3 / 1.02])
    assert converted.flags.tolist() == [0, 0]
    assert converted.u_uvi[1] ** 2 == pytest.approx(
        (convert(LINE, [310]).u_uvi[0] / 1.02) ** 2 + (3 / 1.02 * 10 * 0.0005 / 1.02) ** 2, rel=1e-9
    )


def test_temperature_outside_or_unknown_is_flagged():
    assert convert(WARM, [310, 310], temperature_c=[50, np.nan]).flags.tolist() == [Flag.TEMPERATURE] * 2
    unknown = convert(WARM, [310])
    assert unknown.flags == [Flag.TEMPERATURE]
    assert unknown.uvi == pytest.approx([3])
    assert unknown.u_uvi > convert(LINE, [310]).u_uvi


def test_no_readings_make_no_samples():
    assert [len(part) for part in LINE.convert({}, None)] == [0, 0, 0]


def test_several_channels_add_up():
    two = replace(
        LINE,
        model=LineModel(("a", "b"), (1.0, 2.0), (0.5, -0.25), 0.125),
        channels=(Channel("a", 0.1), Channel("b", 0.2)),
        uncertainty=Uncertainty(tuple(map(tuple, np.diag([0.01] * 5).tolist()))),
    )
    converted = two.convert({"b": np.array([4.0]), "a": np.array([11.0])})
    assert converted.uvi == pytest.approx([0.125 + 5 - 0.5])
    expected = 0.01 * (0.5**2 + 0.25**2 + 10**2 + 2**2 + 1) + (0.1 * 0.5) ** 2 + (0.2 * 0.25) ** 2
    assert converted.u_uvi**2 == pytest.approx([expected])


@given(calibrations(), st.lists(st.floats(), max_size=5), st.sampled_from([None, "t5", "sun"]))
def test_any_input_gives_a_finite_value_or_a_flag_without_value(calibration, values, kind):
    columns = {name: np.array(values) for name in calibration.needs}
    with np.errstate(over="ignore", invalid="ignore"):
        converted = calibration.convert(columns, lamp_kind=kind, age_days=10.0)
    valueless = (converted.flags & (Flag.MISSING | Flag.SENSOR_FAULT)) != 0
    assert (np.isnan(converted.uvi) == valueless).all()
    assert (converted.uvi[~valueless] >= 0).all()


@given(calibrations(), st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=20))
def test_a_batch_converts_as_its_readings_one_by_one(calibration, values):
    columns = {name: np.array(values) for name in calibration.needs}
    together = calibration.convert(columns)
    for i in range(len(values)):
        alone = calibration.convert({name: column[i : i + 1] for name, column in columns.items()})
        assert alone.uvi == pytest.approx(together.uvi[i : i + 1], rel=1e-9)
        assert alone.u_uvi == pytest.approx(together.u_uvi[i : i + 1], rel=1e-6, abs=1e-12)
        assert alone.flags == together.flags[i]


def test_a_batch_longer_than_one_chunk_converts_alike_throughout():
    converted = convert(WARM, [310] * 20_000, temperature_c=[30] * 20_000)
    assert (converted.uvi == converted.uvi[0]).all()
    assert (converted.u_uvi == converted.u_uvi[0]).all()


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"channels": (Channel("other", 1.0),)}, "channels"),
        ({"uvi_range": (-1.0, 2.0)}, "uvi_range"),
        ({"valid_for_days": 0}, "valid_for_days"),
        ({"uncertainty": Uncertainty(((1.0,),))}, "covariance"),
        ({"uncertainty": Uncertainty(((1.0, 2.0), (2.0, 1.0)))}, "covariance"),
        ({"uncertainty": replace(LINE.uncertainty, other_uvi=-1.0)}, "other_uvi"),
        ({"uncertainty": replace(LINE.uncertainty, fit_widening=0.5)}, "fit_widening"),
        ({"lamp_factors": (LampFactor("t5", 1.0, 0.1),)}, "lamp_factors"),
        ({"model": LineModel(("uva_counts",), (float("nan"),), (0.01,))}, "model"),
    ],
)
def test_a_calibration_that_contradicts_itself_is_refused(change, where):
    with pytest.raises(CalibrationError) as caught:
        replace(LINE, **change)
    assert where in caught.value.where
