"""What a spot check and a series of them say."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibrate.calibration import Calibration, Channel, Uncertainty
from calibrate.control_chart import Signal
from calibrate.models import LineModel
from calibrate.points import ReferenceMeter
from calibrate.samples import Flag
from calibrate.spot_check import Moved, Verdict, verdict_of
from ingest.checking import (
    DAY_MS,
    CheckError,
    check_state,
    compare,
    running_value,
    series_of,
)
from ingest.spot_levels import Levels
from ingest.store.checks import CheckRecord

START_MS = 1_770_000_000_000
CALIBRATION = Calibration(
    lamp_kind="t5",
    sensor_kind="guva-s12sd",
    model=LineModel(("uva_counts",), (20.0,), (0.01,)),
    channels=(Channel("uva_counts", noise=4.0, valid_range=(20.0, 600.0)),),
    uvi_range=(0.0, 5.8),
    uncertainty=Uncertainty(
        ((1.0, 0.0), (0.0, 1e-8)),
        reference_relative=0.06,
        reference_resolution_uvi=0.1,
        spectral_relative=0.05,
    ),
    made_on=date(2026, 2, 1),
)


def levels(uvi: float, n: int = 60, *, noise: float = 4.0, seed: int = 1) -> Levels:
    counts = 20 + 100 * uvi + noise * np.random.default_rng(seed).standard_normal(n)
    return Levels(
        ("uva_counts",), START_MS + 500 * np.arange(n), counts[:, np.newaxis], np.zeros(n, np.uint32)
    )


def check(uvi: float, reference: float, meter: ReferenceMeter | None = None, seed: int = 1) -> CheckRecord:
    running = running_value(levels(uvi, seed=seed), CALIBRATION, lamp_kind="t5", age_days=0)
    return compare("slate", running, CALIBRATION, reference, meter, 0.1)


def test_noise_shrinks_in_the_mean_and_what_is_common_does_not() -> None:
    short = running_value(levels(3.0, 16), CALIBRATION, lamp_kind="t5", age_days=0)
    long = running_value(levels(3.0, 1600), CALIBRATION, lamp_kind="t5", age_days=0)
    assert long.u_random_uvi < short.u_random_uvi / 4
    common = np.hypot(3 * np.hypot(0.06, 0.05), np.hypot(0.01, 0.03))
    assert long.u_uvi == pytest.approx(common, rel=0.02)


def test_a_check_with_the_meter_of_the_calibration_does_not_hide_behind_its_accuracy() -> None:
    same = check(3.0, 3.6)
    other = check(3.0, 3.6, ReferenceMeter(0.06, 0.0, 0.1))
    assert abs(same.e_n) > abs(other.e_n)
    assert same.same_meter
    assert not other.same_meter


@pytest.mark.parametrize(
    ("reference", "verdict"), [(3.0, Verdict.WITHIN), (3.5, Verdict.DOUBTFUL), (4.2, Verdict.OUT)]
)
def test_the_verdict_follows_the_difference(reference: float, verdict: Verdict) -> None:
    assert verdict_of(check(3.0, reference).e_n) == verdict


def test_darkness_is_no_check() -> None:
    with pytest.raises(CheckError, match="too little"):
        check(0.0, 1.9)


def test_a_spot_without_a_value_is_no_check() -> None:
    silent = Levels(("temperature_c",), np.array([START_MS]), np.array([[25.0]]), np.zeros(1, np.uint32))
    with pytest.raises(CheckError, match="no UVI"):
        running_value(silent, CALIBRATION, lamp_kind="t5", age_days=0)


def test_flags_of_the_samples_are_those_of_the_check() -> None:
    running = running_value(levels(9.0), CALIBRATION, lamp_kind="uv-led", age_days=0)
    assert running.flags == Flag.ABOVE_RANGE | Flag.OTHER_LAMP_KIND


def in_time(*checks: CheckRecord, apart_days: float = 7) -> list[CheckRecord]:
    return [
        replace(one, at_ms=round(START_MS + i * apart_days * DAY_MS), check_id=i + 1)
        for i, one in enumerate(checks)
    ]


def test_a_fading_lamp_is_told_from_a_drifting_sensor() -> None:
    fading = series_of(in_time(check(3.0, 3.0), check(2.4, 2.4)), CALIBRATION.identity)
    drifting = series_of(in_time(check(3.0, 3.0), check(2.4, 3.0)), CALIBRATION.identity)
    neither = series_of(in_time(check(3.0, 3.0), check(3.02, 3.0)), CALIBRATION.identity)
    assert (fading.moved, drifting.moved, neither.moved) == (Moved.LIGHT, Moved.SENSOR, Moved.NOTHING)
    assert fading.light == pytest.approx(0.8)
    assert drifting.sensor == pytest.approx(0.8, abs=0.01)


def test_a_slow_drift_shows_in_the_chart_before_a_single_check_is_out() -> None:
    checks = in_time(*(check(3.0 - 0.065 * i, 3.0, seed=i) for i in range(7)))
    chart = series_of(checks, CALIBRATION.identity).chart
    assert chart is not None
    assert all(chart.low <= value <= chart.high for value in chart.values)
    assert chart.signals[0][1] is Signal.DRIFT


def test_withdrawn_checks_and_those_of_other_calibrations_do_not_count() -> None:
    good, slip, older = in_time(check(3.0, 3.0), check(3.0, 30.0), check(3.0, 3.0))
    series = series_of(
        [good, replace(slip, withdrawn=True), replace(older, calibration="another")], CALIBRATION.identity
    )
    assert series.checks == (good,)
    assert series.moved is None
    assert series_of([], CALIBRATION.identity).chart is None


def test_a_check_is_due_a_week_after_the_last_and_overdue_a_day_later() -> None:
    (last,) = in_time(check(3.0, 3.0))
    made_ms = START_MS - 30 * DAY_MS
    state = check_state([last], CALIBRATION, made_ms, START_MS + 7 * DAY_MS)
    assert state.due_ms == START_MS + 7 * DAY_MS
    assert not state.overdue
    assert state.verdict is Verdict.WITHIN
    assert check_state([last], CALIBRATION, made_ms, START_MS + 9 * DAY_MS).overdue
    assert check_state([], CALIBRATION, made_ms, START_MS).overdue
    assert check_state([], CALIBRATION, made_ms, START_MS).verdict is None
    assert not check_state([], CALIBRATION, START_MS - DAY_MS, START_MS).overdue
