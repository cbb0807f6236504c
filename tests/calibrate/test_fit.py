from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.calibration_file import format_calibration, parse_calibration
from calibrate.fits.fit import GivenCoefficient, fit
from calibrate.fits.make import Circumstances, make_calibration
from calibrate.fits.refusals import FitRefusedError
from calibrate.points import ReferenceMeter
from calibrate.samples import Flag
from tests.calibrate.making import make_points

UVI = np.array([0.5, 1.0, 1.8, 2.9, 4.2, 5.5, 7.0])
U_UVI = np.hypot(0.03, 0.01 * UVI)


def pairs(net, uvi=UVI, *, dark=12.0):
    return list(zip(dark + np.asarray(net), uvi, strict=True))


def noisy(net, seed=1, *, uvi=UVI, **how):
    rng = np.random.default_rng(seed)
    levels = 12 + np.asarray(net) + 2 * rng.standard_normal(len(uvi))
    reference = uvi + np.hypot(0.03, 0.01 * uvi) * rng.standard_normal(len(uvi))
    return make_points(
        list(zip(levels, reference, strict=True)),
        dark=how.pop("dark", [11.5, 12.4]),
        u_level=2.0,
        u_uvi=np.hypot(0.03, 0.01 * uvi),
        **how,
    )


@given(st.floats(1e-4, 0.1), st.floats(0, 500))
@settings(max_examples=25)
def test_exact_pairs_give_back_the_line_they_lie_on(slope, dark):
    found = fit(make_points(pairs(UVI / slope, dark=dark), dark=[dark]), model="proportional")
    assert found.coefficients["slope.uva_counts"] == pytest.approx(slope, rel=1e-9)
    assert found.residual_uvi == pytest.approx(np.zeros(7), abs=1e-9)


@pytest.mark.parametrize(
    ("net", "name"),
    [
        (UVI / 0.003, "proportional"),
        ((UVI / 0.02) ** (1 / 0.8), "power"),
        (4000 * (1 - np.exp(-UVI / 5)), "curve of 2 pieces"),
    ],
)
def test_the_shape_that_made_the_pairs_is_chosen(net, name):
    found = fit(noisy(net))
    assert found.name == name
    assert abs(found.residual_uvi).max() < 0.3
    assert name in found.reasons[0]


@pytest.mark.parametrize("seed", range(8))
def test_at_its_own_highest_pair_nothing_is_extrapolated(seed):
    found = fit(noisy(UVI / 0.003, seed=seed))
    noise = 2.0
    circumstances = Circumstances("t5", "x", date(2026, 3, 2), ReferenceMeter(0.05), {"uva_counts": noise})
    calibration = make_calibration(found, circumstances)
    top = found.points.levels[found.points.reference_uvi.argmax(), 0]
    levels = top + noise * np.clip(np.random.default_rng(seed).standard_normal(500), -2.9, 2.9)
    assert not calibration.convert({"uva_counts": levels}).flags.any()
    assert calibration.convert({"uva_counts": np.array([1.05 * top])}).flags == Flag.ABOVE_RANGE


def test_a_line_that_misses_its_dark_reading_is_seen():
    found = fit(noisy(UVI / 0.003 + 200))
    assert found.name == "line"
    assert found.coefficients["intercept"] == pytest.approx(-0.6, abs=0.1)
    assert found.uvi_range[0] > 0  # such a line says nothing about zero


def test_without_dark_reading_zero_is_not_covered_and_that_is_said():
    found = fit(make_points(pairs(UVI / 0.003, dark=0), u_uvi=U_UVI))
    assert found.uvi_range == (0.5, 7.0)
    assert any("no dark reading" in reason for reason in found.reasons)


def test_the_simplest_is_kept_where_a_bend_earns_little():
    found = fit(noisy(UVI / 0.003))
    rated = {candidate.name: candidate.aicc for candidate in found.candidates}
    assert found.name == "proportional"
    assert rated["proportional"] <= min(aicc for aicc in rated.values() if aicc is not None) + 4


def test_a_curve_asked_for_on_saturating_pairs_never_falls():
    found = fit(noisy(4000 * (1 - np.exp(-UVI / 5))), model="curve")
    net = np.linspace(0, 5000, 200)[np.newaxis]
    assert (np.diff(found.model.evaluate(net).uvi) >= 0).all()


@pytest.mark.parametrize(
    ("points", "told"),
    [
        (make_points(pairs([300, 600], UVI[:2])), "2 pairs of readings are too few"),
        (make_points([(300, 2.0), (301, 2.0), (302, 2.02), (299, 2.0)]), "at one height"),
        (make_points([(300, 2.0), (330, 2.2), (360, 2.4)]), "close together"),
        (
            make_points([(100, 1.0), (400, 2.0), (200, 3.0), (700, 5.0)]),
            "point 3 and point 2 contradict each other: 200 is 3 UVI, but 400 is 2 UVI",
        ),
        (make_points([(100, 5.0), (101, 1.0), (102, 3.0), (103, 4.0), (99, 2.0)]), "explain only"),
    ],
)
def test_unfit_points_are_refused_and_the_remedy_said(points, told):
    with pytest.raises(FitRefusedError, match=told) as caught:
        fit(points)
    assert caught.value.remedy


def test_levels_that_fall_while_uvi_rises_are_refused():
    with pytest.raises(FitRefusedError):
        fit(make_points([(1000 - 20 * i, 1.0 + 0.1 * i) for i in range(8)]), model="line")


def test_what_is_merely_unwise_is_a_warning_where_a_model_is_asked_for():
    found = fit(make_points([(300, 2.0), (330, 2.2), (360, 2.4)]), model="proportional")
    assert any("close together" in reason for reason in found.reasons)


def test_reaching_beyond_the_highest_pair_is_refused():
    with pytest.raises(FitRefusedError, match=r"UVI 12 is to be measured, but the highest pair is at 6\.99"):
        fit(noisy(UVI / 0.003), must_reach_uvi=12)
    assert fit(noisy(UVI / 0.003), must_reach_uvi=7.0)


def test_an_unknown_model_is_refused_with_the_nearest():
    with pytest.raises(FitRefusedError, match="Did you mean 'power'"):
        fit(noisy(UVI / 0.003), model="powr")


def test_saturated_pairs_are_left_out_and_named():
    points = make_points([*pairs(UVI / 0.003), (4095, 20.0)], dark=[12], u_level=1, u_uvi=0.05)
    found = fit(points, saturation={"uva_counts": 4095.0})
    assert len(found.points) == 7
    assert found.uvi_range[1] == 7
    assert any("point 8 is left out" in reason for reason in found.reasons)


def test_a_pair_that_stands_out_is_named_and_the_uncertainty_widened():
    uvi = UVI.copy()
    uvi[3] += 0.5
    found = fit(make_points(pairs(UVI / 0.003, uvi), dark=[12], u_level=1, u_uvi=0.05), model="proportional")
    assert any("point 4 is off by" in reason for reason in found.reasons)
    assert found.widening > 2


def test_pairs_as_scattered_as_stated_are_not_widened():
    assert fit(noisy(UVI / 0.003)).widening == 1


def test_a_reference_without_uncertainty_is_judged_by_its_scatter():
    rng = np.random.default_rng(3)
    uvi = UVI + 0.05 * rng.standard_normal(7)
    found = fit(make_points(pairs(UVI / 0.003, uvi), dark=[11.5, 12.5], u_level=1.0))
    assert found.from_scatter
    assert found.reduced_chi2**0.5 == pytest.approx(0.05, rel=0.5)
    assert found.standard_errors["dark.uva_counts"] == pytest.approx(0.7, rel=0.2)
    # Student's t for 95 % and 6 degrees of freedom, and what uneven scatter adds.
    assert 2.447 / 1.96 * 0.999 <= found.widening < 1.6 * 2.447 / 1.96


WARMTH = np.array([20.0, 34, 22, 31, 25, 37, 28])


def test_a_temperature_coefficient_is_fitted_where_the_pairs_allow():
    found = fit(noisy(UVI / 0.003 * (1 + 0.004 * (WARMTH - 28)), temperature_c=WARMTH))
    temperature = found.temperature
    assert temperature.coefficient_per_c == pytest.approx(0.004, abs=3 * temperature.u_coefficient_per_c)
    assert 0 < temperature.u_coefficient_per_c < 0.002
    assert temperature.valid_range_c == (18, 39)


def test_a_coefficient_that_cannot_be_told_is_left_open():
    found = fit(noisy(UVI / 0.003, temperature_c=np.full(7, 25.0)))
    assert found.temperature.coefficient_per_c == 0
    assert found.temperature.u_coefficient_per_c == 0.002


def test_a_given_coefficient_is_used():
    found = fit(
        noisy(UVI / 0.003 * (1 + 0.002 * (WARMTH - 28)), temperature_c=WARMTH),
        temperature=GivenCoefficient(0.002, 0.0003),
    )
    assert (found.temperature.coefficient_per_c, found.temperature.u_coefficient_per_c) == (0.002, 0.0003)
    reference_c = found.temperature.reference_c
    assert found.coefficients["slope.uva_counts"] == pytest.approx(
        0.003 / (1 + 0.002 * (reference_c - 28)), rel=0.02
    )


def two_channels(seed=0):
    """UVI of a sensor with a UVB channel that also sees UVA, compensated by a second one."""
    rng = np.random.default_rng(seed)
    uva = np.array([5.0, 30, 12, 60, 25, 80, 40, 15])
    uvi = np.array([1.0, 2, 3, 4, 5, 6, 7, 0.5])
    uvb_counts = 10 + 100 * uvi + 4 * uva + 0.5 * rng.standard_normal(8)
    comp_counts = 5 + 8 * uva + 0.5 * rng.standard_normal(8)
    levels = list(zip(np.column_stack((uvb_counts, comp_counts)), uvi, strict=True))
    return make_points(
        levels, channels=("uvb_counts", "comp1_counts"), dark=[(10, 5)], u_level=0.5, u_uvi=0.03
    )


def test_a_compensating_channel_gets_its_negative_weight():
    found = fit(two_channels())
    assert found.name == "proportional in uvb_counts and comp1_counts"
    assert found.coefficients["slope.uvb_counts"] == pytest.approx(0.01, rel=0.03)
    assert found.coefficients["slope.comp1_counts"] == pytest.approx(-0.005, rel=0.1)


def test_a_uv_channel_may_not_weigh_negatively():
    points = replace(two_channels(), channels=("uvb_counts", "uva_counts"))
    found = fit(points, model="proportional")
    assert found.coefficients["slope.uva_counts"] == pytest.approx(0, abs=1e-9)
    assert found.standard_errors["slope.uva_counts"] == 0
    assert any("uva_counts has no weight" in reason for reason in found.reasons)


def test_channels_that_rise_and_fall_together_are_not_both_used():
    levels = [((100 * uvi, 50 * uvi), uvi) for uvi in UVI]
    points = make_points(levels, channels=("uva_counts", "uvb_counts"), dark=[(0, 0)], u_uvi=0.05)
    assert len(fit(points).points.channels) == 1
    with pytest.raises(FitRefusedError, match="do not tell its numbers apart"):
        fit(points, model="proportional")


def circumstances(**change):
    return replace(
        Circumstances(
            lamp_kind="t5",
            sensor_kind="guva-s12sd",
            made_on=date(2026, 3, 2),
            meter=ReferenceMeter(u_relative=0.05, u_zero_uvi=0.02, resolution_uvi=0.1),
            noise={"uva_counts": 2.0},
            saturation={"uva_counts": 4095.0},
        ),
        **change,
    )


@pytest.mark.parametrize("model", ["proportional", "line", "power", "curve"])
def test_a_fit_becomes_a_calibration_that_can_be_kept_in_a_file(model):
    found = fit(noisy(UVI / 0.003, temperature_c=WARMTH), model=model)
    calibration = make_calibration(found, circumstances(), name="rock")
    assert parse_calibration(format_calibration(calibration)) == calibration
    converted = calibration.convert({"uva_counts": np.array([1012.0]), "temperature_c": np.array([28.0])})
    assert converted.uvi == pytest.approx([3], rel=0.05)
    assert converted.flags == [0]


def test_more_pairs_do_not_average_the_meters_error_away():
    many = np.linspace(0.5, 7, 400)
    calibration = make_calibration(fit(noisy(many / 0.003, uvi=many)), circumstances(spectral_relative=0.0))
    u = calibration.convert({"uva_counts": np.array([1680.0])}).u_uvi[0]
    assert u >= 0.05 * 5
