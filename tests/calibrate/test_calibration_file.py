import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given

import calibrate
from calibrate.calibration_file import (
    format_calibration,
    parse_calibration,
    read_calibration,
    write_calibration,
)
from calibrate.origin import Origin, Pair
from calibrate.toml_table import CalibrationFileError
from tests.calibrate.strategies import calibrations

PAGE = (Path(calibrate.__file__).parent / "CALIBRATION_FILE.md").read_text(encoding="utf-8")
ORIGIN = Origin("line", (Pair((345.0,), 1.0, 0.02, 25.0),), ((12.0,),), 3, 1.1, ("because",))
EXAMPLE = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL).group(1)


@given(calibrations())
def test_a_calibration_written_and_read_again_is_the_same(calibration):
    again = parse_calibration(format_calibration(calibration))
    assert again == calibration
    assert again.identity == calibration.identity


def test_the_documented_example_can_be_read():
    calibration = parse_calibration(EXAMPLE)
    assert calibration.model.slope == (0.0031,)
    assert calibration.temperature.coefficient_per_c == 0.002


def test_every_key_of_a_full_file_is_documented():
    full = format_calibration(
        replace(parse_calibration(EXAMPLE), name="n", notes="two\nlines", origin=ORIGIN)
    )
    keys = set(re.findall(r"^(\w+) = ", full, re.MULTILINE))
    undocumented = {key for key in keys if f"`{key}`" not in PAGE} - {"kind", "uva_counts"}
    assert not undocumented


def test_where_it_comes_from_does_not_change_the_identity():
    calibration = parse_calibration(EXAMPLE)
    assert replace(calibration, origin=ORIGIN).identity == calibration.identity


def test_an_origin_with_levels_for_other_channels_is_refused():
    text = format_calibration(replace(parse_calibration(EXAMPLE), origin=ORIGIN))
    with pytest.raises(CalibrationFileError, match="2 levels for 1 channels"):
        parse_calibration(text.replace("levels = [345.0]", "levels = [345.0, 1.0]"))


def test_names_and_notes_do_not_change_the_identity():
    calibration = parse_calibration(EXAMPLE)
    assert replace(calibration, name="other", notes="other").identity == calibration.identity


def test_a_changed_number_changes_the_identity():
    calibration = parse_calibration(EXAMPLE)
    assert replace(calibration, valid_for_days=366).identity != calibration.identity


def test_the_identity_stays_what_it_was_when_it_was_first_written():
    # A change here orphans every stored sample's calibration: it must not happen by accident.
    assert parse_calibration(EXAMPLE).identity == "707235447e49ff95"


@pytest.mark.parametrize(
    ("right", "wrong", "where", "told"),
    [
        ("noise =", "nois =", "channels.uva_counts.noise", "Rename 'nois' to 'noise'"),
        ('kind = "line"', 'kind = "lime"', "model.kind", "Did you mean 'line'?"),
        ('"t5"', '"t55"', "lamp_kind", "Did you mean 't5'?"),
        ("0.0031", "0.0032", "identity", "delete the identity line"),
        ("2026-03-02", '"2026-03-02"', "made_on", "without quotes"),
        ("[0.0, 8.0]", "[8.0, 0.0]", "uvi_range", "the lower one first"),
        ("[0.0, 8.0]", "[8.0]", "uvi_range", "two belong"),
        ("format = 1", "format = 2", "format", "reads format 1"),
        ("format = 1", "format =", "x.toml", "line 1"),
        ("uva_counts = 0.0031", "uva_count = 0.0031", "model.slope.uva_counts", "Rename 'uva_count'"),
        ("1e-09", '"a"', "uncertainty.covariance.2.2", "not a finite number"),
        ("[0.0, 1e-09]", "[0.0, -1e-09]", "uncertainty.covariance", "negative variance"),
        ("[0.0, 1e-09]", "[0.1, 1e-09]", "uncertainty.covariance", "symmetric"),
        ("reference_relative", "reference_relativ", "uncertainty.reference_relativ", "reference_relative"),
        ("saturation = 4095.0", "saturation = true", "channels.uva_counts.saturation", "not a finite number"),
        ("dark = 12.0", "dark = nan", "channels.uva_counts.dark", "not a finite number"),
        ("coefficient_per_c = 0.002", "coefficient_per_c = 0.2", "temperature.coefficient_per_c", "0.05"),
        ("sensor_kind", "lamp", "sensor_kind", "is missing"),
    ],
)
def test_an_error_names_the_file_the_key_and_what_would_be_right(right, wrong, where, told):
    text = EXAMPLE.replace(right, wrong, 1)
    assert text != EXAMPLE
    with pytest.raises(CalibrationFileError) as caught:
        parse_calibration(text, where="x.toml")
    assert "x.toml" in caught.value.where
    assert where in caught.value.where
    assert told in str(caught.value)


def test_independent_parameters_need_only_standard_errors():
    by_hand = re.sub(
        r"parameters = .*?\n\]\n",
        'standard_errors = { "dark.uva_counts" = 1.0, "slope.uva_counts" = 3e-5 }\n',
        EXAMPLE.replace('identity = "707235447e49ff95"\n', ""),
        flags=re.DOTALL,
    )
    assert parse_calibration(by_hand).uncertainty.covariance == ((1.0, 0.0), (0.0, 3e-5**2))


def test_a_file_is_written_whole_and_read_back(tmp_path):
    path = tmp_path / "rock.toml"
    calibration = parse_calibration(EXAMPLE)
    write_calibration(path, calibration)
    assert read_calibration(path) == calibration
    assert list(tmp_path.iterdir()) == [path]


def test_reading_a_calibration_loads_no_scipy():
    # The daemon reads calibrations, and its memory is bounded.
    program = "import sys, calibrate.calibration_file, calibrate.budget; sys.exit('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


def test_a_file_that_is_not_there_is_said_to_be_missing(tmp_path):
    with pytest.raises(CalibrationFileError, match="no such calibration file"):
        read_calibration(tmp_path / "none.toml")


def test_a_folder_that_is_not_there_is_an_error_of_the_keeper(tmp_path):
    with pytest.raises(CalibrationFileError, match="cannot be written"):
        write_calibration(tmp_path / "none" / "rock.toml", parse_calibration(EXAMPLE))
