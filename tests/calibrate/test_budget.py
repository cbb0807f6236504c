from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calibrate.budget import budget
from calibrate.calibration import Uncertainty
from calibrate.samples import Flag
from tests.calibrate.strategies import calibrations
from tests.calibrate.test_calibration import LINE, WARM


@given(calibrations(), st.data(), st.sampled_from([None, "t5", "sun"]), st.none() | st.floats(0, 5000))
def test_a_budget_adds_up_to_what_convert_says(calibration, data, kind, age_days):
    levels = {name: data.draw(st.floats(-1e4, 1e4)) for name in calibration.needs}
    found = budget(calibration, levels, lamp_kind=kind, age_days=age_days)
    assume(np.isfinite(found.u_uvi))
    assert sum(row.u_uvi**2 for row in found.rows) == pytest.approx(found.u_uvi**2, rel=1e-9, abs=1e-12)
    assert sum(row.share for row in found.rows) == pytest.approx(1) or not found.rows


def test_the_rows_are_named_and_the_largest_comes_first():
    found = budget(LINE, {"uva_counts": 310})
    assert [row.source for row in found.rows] == ["reference meter", "fit", "noise of uva_counts"]
    assert found.rows[0].u_uvi == pytest.approx(0.15)
    assert found.uvi == pytest.approx(3)
    assert found.expanded_uvi == pytest.approx(2 * found.u_uvi)


def test_noise_is_not_common_to_all_samples_and_the_meter_is():
    common = {row.source: row.common for row in budget(LINE, {"uva_counts": 310}).rows}
    assert common == {"reference meter": True, "fit": True, "noise of uva_counts": False}


@pytest.mark.parametrize(
    ("change", "levels", "how", "source", "flag"),
    [
        ({}, {"uva_counts": 1210}, {}, "extrapolation", Flag.ABOVE_RANGE),
        ({}, {"uva_counts": -90}, {}, "below dark", Flag.NEGATIVE),
        ({}, {"uva_counts": 310}, {"lamp_kind": "sun"}, "another lamp kind", Flag.OTHER_LAMP_KIND),
        ({"drift_relative_per_year": 0.1}, {"uva_counts": 310}, {"age_days": 300}, "ageing", Flag(0)),
    ],
)
def test_what_circumstances_add_has_its_row(change, levels, how, source, flag):
    calibration = replace(LINE, uncertainty=replace(LINE.uncertainty, **change))
    found = budget(calibration, levels, **how)
    assert source in [row.source for row in found.rows]
    assert flag in found.flags


def test_what_is_too_small_to_be_squared_has_no_row():
    quiet = replace(LINE.channels[0], noise=1e-170)
    exact = replace(LINE, channels=(quiet,), uncertainty=Uncertainty(((0.0, 0.0), (0.0, 0.0))))
    assert budget(exact, {"uva_counts": 310}).rows == ()


def test_temperature_has_its_row():
    found = budget(WARM, {"uva_counts": 310, "temperature_c": 35})
    row = next(row for row in found.rows if row.source == "temperature")
    assert row.u_uvi == pytest.approx(3 / 1.02 * 10 * 0.0005 / 1.02)


def test_a_level_that_is_needed_and_not_given_is_a_programming_error():
    with pytest.raises(KeyError, match="uva_counts"):
        budget(LINE, {"other": 1.0})
