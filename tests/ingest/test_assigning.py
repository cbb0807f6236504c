import logging
from pathlib import Path

import pytest

from calibrate.calibration_file import format_calibration
from calibrate.toml_table import CalibrationFileError
from ingest.assigning import read_calibrations
from ingest.config import parse_config
from tests.ingest.rig import CONFIG, calibration


def configured(folder: Path):
    return parse_config(CONFIG + 'calibration = "ledge.toml"\n', file=folder / "baskline.toml")


def test_a_calibration_file_that_is_there_is_read(tmp_path: Path) -> None:
    (tmp_path / "ledge.toml").write_text(format_calibration(calibration()))
    assert read_calibrations(configured(tmp_path))["ledge"].identity == calibration().identity


def test_a_calibration_file_that_is_not_there_yet_is_told_and_keeps_nothing_from_running(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        assert read_calibrations(configured(tmp_path)) == {}
    [record] = caplog.records
    assert vars(record)["spot"] == "ledge"
    assert "without a value" in record.getMessage()


def test_a_file_that_is_no_calibration_is_refused(tmp_path: Path) -> None:
    (tmp_path / "ledge.toml").write_text("sensor_kind = 3")
    with pytest.raises(CalibrationFileError):
        read_calibrations(configured(tmp_path))
