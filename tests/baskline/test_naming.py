"""A calibration that is named in a configuration, whatever the file looks like."""

import tomllib
from pathlib import Path

import pytest

from baskline.first_hour.keeping import KeepingError
from baskline.first_hour.naming import can_name, name_calibration
from ingest.config import load_config
from tests.baskline.making import room


@pytest.fixture
def config_file(tmp_path: Path) -> Path:
    """A room whose spot has no calibration yet, and something after it."""
    room(tmp_path, calibrated=False, more="\n# mine\n[attention]\nagain_now_s = 600\n")
    return tmp_path / "baskline.toml"


def test_it_stands_among_the_keys_of_its_spot_and_every_other_line_stays(config_file: Path) -> None:
    before = config_file.read_text()
    copy = name_calibration(config_file, "ledge", "ledge.toml")
    after = config_file.read_text()
    assert copy.read_text() == before
    assert after.replace('calibration = "ledge.toml"\n', "") == before
    assert 'ceiling_uvi = 4.0 }\ncalibration = "ledge.toml"\n' in after
    assert load_config(config_file).spots["ledge"].calibration == config_file.parent / "ledge.toml"


def test_another_takes_the_place_of_the_one_before(config_file: Path) -> None:
    name_calibration(config_file, "ledge", "old.toml")
    name_calibration(config_file, "ledge", "new.toml")
    assert "old.toml" not in config_file.read_text()
    assert tomllib.loads(config_file.read_text())["spot"]["ledge"]["calibration"] == "new.toml"


@pytest.mark.parametrize("header", ["[ spot . ledge ]", '[spot."ledge"]', "[spot.ledge]  # the slate"])
def test_a_table_is_known_however_it_is_written(config_file: Path, header: str) -> None:
    config_file.write_text(config_file.read_text().replace("[spot.ledge]", header))
    name_calibration(config_file, "ledge", "ledge.toml")
    assert load_config(config_file).spots["ledge"].calibration is not None


@pytest.mark.parametrize("ends", [b"\r\n", b"\n"])
def test_line_ends_stay_what_they_are(config_file: Path, ends: bytes) -> None:
    config_file.write_bytes(config_file.read_bytes().replace(b"\n", ends))
    name_calibration(config_file, "ledge", "ledge.toml")
    lines = config_file.read_bytes().splitlines(keepends=True)
    assert {line[len(line.rstrip(b"\r\n")) :] for line in lines} == {ends}


def test_the_last_line_of_a_file_may_lack_its_end(config_file: Path) -> None:
    text = config_file.read_text().partition("\n# mine")[0].rstrip("\n")
    config_file.write_text(text)
    name_calibration(config_file, "ledge", "ledge.toml")
    assert config_file.read_text() == f'{text}\ncalibration = "ledge.toml"\n'


def test_a_spot_without_a_table_of_its_own_is_left_to_the_keeper(config_file: Path) -> None:
    before = config_file.read_text().replace("[spot.ledge]", "[spot]\nledge.enclosure = 'garden'\n[other]")
    config_file.write_text(before)
    assert not can_name(config_file, "ledge")
    with pytest.raises(KeepingError, match="no plain place"):
        name_calibration(config_file, "ledge", "ledge.toml")
    assert config_file.read_text() == before


def test_what_only_looks_like_the_table_is_not_written_into(config_file: Path) -> None:
    """A text over several lines may hold anything."""
    before = config_file.read_text().replace(
        'label = "Rock garden"', 'label = """Rock garden\n[spot.ledge]\n"""'
    )
    config_file.write_text(before)
    with pytest.raises(KeepingError):
        name_calibration(config_file, "ledge", "ledge.toml")
    assert config_file.read_text() == before
