"""Where calibrations go, and that a note changed in one stops nobody."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from calibrate.calibration import Calibration, Channel, Uncertainty
from calibrate.models import LineModel
from calibrate.toml_table import CalibrationFileError
from ingest.assigning import record_assignments
from ingest.calibration_files import free_calibration_file, free_points_file, newest_points_file, write_new
from ingest.config import parse_config
from ingest.store.store import Store

DAY = date(2026, 3, 2)
CALIBRATION = Calibration(
    lamp_kind="t5",
    sensor_kind="guva-s12sd",
    model=LineModel(("uva_counts",), (0.0,), (0.01,)),
    channels=(Channel("uva_counts", noise=1.0),),
    uvi_range=(0.0, 8.0),
    uncertainty=Uncertainty(((0.0, 0.0), (0.0, 1e-9))),
    made_on=DAY,
)


def test_the_configured_name_is_taken_only_while_it_is_free(tmp_path: Path) -> None:
    configured = tmp_path / "ledge.toml"
    assert free_calibration_file(tmp_path, configured, "ledge", DAY) == configured
    write_new(configured, CALIBRATION)
    second = free_calibration_file(tmp_path, configured, "ledge", DAY)
    assert second.name == "ledge-2026-03-02.toml"
    write_new(second, CALIBRATION)
    assert free_calibration_file(tmp_path, configured, "ledge", DAY).name == "ledge-2026-03-02-2.toml"


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "ledge.toml"
    path.write_text("anything", "utf-8")
    with pytest.raises(CalibrationFileError, match="never"):
        write_new(path, CALIBRATION)
    with pytest.raises(CalibrationFileError, match="no folder"):
        write_new(tmp_path / "nowhere" / "ledge.toml", CALIBRATION)
    assert path.read_text("utf-8") == "anything"


def test_points_of_another_spot_with_a_longer_name_are_not_gone_on_with(tmp_path: Path) -> None:
    free_points_file(tmp_path, "ledge-low", DAY).write_text("", "utf-8")
    assert newest_points_file(tmp_path, "ledge") is None
    own = free_points_file(tmp_path, "ledge", DAY)
    own.write_text("", "utf-8")
    assert newest_points_file(tmp_path, "ledge") == own
    assert free_points_file(tmp_path, "ledge", DAY) != own


def test_a_note_changed_in_a_calibration_file_does_not_stop_the_daemon(tmp_path: Path) -> None:
    config = parse_config(
        """
[bridge]
site = "test"
name = "room"
time_zone = "UTC"
[board.stone]
identity = "stone-1"
label = "Stone"
[enclosure.garden]
label = "Garden"
[lamp.tube]
kind = "t5"
installed = 2025-02-08
distance_cm = 38.0
[spot.ledge]
label = "Ledge"
enclosure = "garden"
lamp = "tube"
board = "stone"
zone = 3
""",
        file=tmp_path / "baskline.toml",
    )
    with Store.open(tmp_path / "room.db") as store:
        record_assignments(store, config, {"ledge": CALIBRATION}, 1_000_000)
        record_assignments(store, config, {"ledge": replace(CALIBRATION, notes="by the window")}, 2_000_000)
        assert len(store.assignments.history("ledge")) == 1
