from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag, Samples
from firmware_host.messages import Mark
from ingest.derive import derive_samples, sensor_columns
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from tests.ingest.rig import NOON_MS, calibration


def batch(channels: str, row: list[float], marks: int = 0, utc_ms: int = NOON_MS) -> StampedBatch:
    return StampedBatch(
        "rock-1",
        "0000000a",
        tuple(channels.split()),
        np.array([7]),
        np.array([utc_ms]),
        np.array([row], np.float64),
        np.array([marks], np.uint32),
    )


def test_a_sensor_sees_its_own_channels_and_the_shared_ones() -> None:
    two = batch("a.uva_counts b.uva_counts temperature_c", [1, 2, 25])
    assert {name: column[0] for name, column in sensor_columns(two, "a").items()} == {
        "uva_counts": 1,
        "temperature_c": 25,
    }
    assert {name: column[0] for name, column in sensor_columns(two, "b").items()} == {
        "uva_counts": 2,
        "temperature_c": 25,
    }
    assert sensor_columns(two, None).keys() == {"temperature_c"}


def test_a_calibrated_reading_has_a_value_with_its_uncertainty() -> None:
    found = derive_samples(
        batch("uva_counts temperature_c", [612, 25]),
        sensor=None,
        calibration=calibration(),
        lamp_kind="t5",
    )
    assert found.uvi[0] == pytest.approx(1.8)
    assert 0 < found.u_uvi[0] < 0.1
    assert found.flags[0] == 0
    assert found.utc_ms[0] == NOON_MS


@pytest.mark.parametrize(
    ("marks", "flags"),
    [
        (0, Flag.UNCALIBRATED),
        (Mark.FAULT, Flag.UNCALIBRATED | Flag.SENSOR_FAULT),
        (CLOCK_UNSURE_MARK, Flag.UNCALIBRATED | Flag.CLOCK_UNSURE),
        (CLOCK_UNSURE_MARK | Mark.FAULT, Flag.UNCALIBRATED | Flag.CLOCK_UNSURE | Flag.SENSOR_FAULT),
    ],
)
def test_without_a_calibration_there_is_no_value_but_all_that_is_known(marks: int, flags: Flag) -> None:
    found = derive_samples(
        batch("uva_counts temperature_c", [612, 25], marks), sensor=None, calibration=None, lamp_kind="t5"
    )
    assert np.isnan(found.uvi[0])
    assert found.flags[0] == flags


def test_another_kind_of_lamp_and_a_clock_that_is_not_set_are_said(tmp_path: object) -> None:
    found = derive_samples(
        batch("uva_counts temperature_c", [612, 25], CLOCK_UNSURE_MARK),
        sensor=None,
        calibration=calibration(),
        lamp_kind="metal-halide",
    )
    assert found.flags[0] == Flag.OTHER_LAMP_KIND | Flag.CLOCK_UNSURE


def test_a_calibration_grows_old_with_the_readings_and_not_with_the_day_of_the_question() -> None:
    aging = replace(
        calibration(),
        made_on=date(2026, 5, 1),
        uncertainty=replace(calibration().uncertainty, drift_relative_per_year=0.1),
    )

    def u_uvi(utc_ms: int) -> float:
        one = batch("uva_counts temperature_c", [612, 25], utc_ms=utc_ms)
        return float(derive_samples(one, sensor=None, calibration=aging, lamp_kind="t5").u_uvi[0])

    year_ms = 365 * 86_400_000
    assert u_uvi(NOON_MS + year_ms) > 2 * u_uvi(NOON_MS)
    assert u_uvi(NOON_MS - year_ms) <= u_uvi(NOON_MS)  # before it was made it is not younger than new


@given(cut=st.integers(1, 199))
def test_each_reading_ages_by_itself_in_whatever_batch_it_comes(cut: int) -> None:
    drifting = replace(
        calibration(),
        valid_for_days=20,
        uncertainty=replace(calibration().uncertainty, drift_relative_per_year=0.1),
    )
    whole = StampedBatch(
        "rock-1",
        "0000000a",
        ("uva_counts", "temperature_c"),
        np.arange(200),
        NOON_MS + 6 * 3_600_000 * np.arange(200),  # fifty days
        np.tile([612.0, 25.0], (200, 1)),
        np.zeros(200, np.uint32),
    )

    def samples(begin: int, end: int) -> Samples:
        part = StampedBatch(
            whole.board,
            whole.boot,
            whole.channels,
            whole.seq[begin:end],
            whole.utc_ms[begin:end],
            whole.values[begin:end],
            whole.marks[begin:end],
        )
        return derive_samples(part, sensor=None, calibration=drifting, lamp_kind="t5")

    at_once, first, second = samples(0, 200), samples(0, cut), samples(cut, 200)
    assert at_once.u_uvi.tolist() == [*first.u_uvi, *second.u_uvi]
    assert at_once.flags.tolist() == [*first.flags, *second.flags]
    assert at_once.u_uvi[0] < at_once.u_uvi[-1]
    assert at_once.flags[0] != at_once.flags[-1]
