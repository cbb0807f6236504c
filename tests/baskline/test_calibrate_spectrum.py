"""`calibrate show --under`: what another light means, and how far a calibration is off under it."""

import json
from pathlib import Path

import pytest

from calibrate.calibration_file import read_calibration
from tests.baskline.test_calibrate_offline import POINTS, refused, said

# A line of 1 W/m² at 310 nm, drawn as a triangle 2 nm wide.
LINE_310 = """\
# source = laboratory report 12, at 30 cm
wavelength_nm;irradiance_w_m2_nm
309,0;0
310,0;1
311,0;0
"""


@pytest.fixture
def lamp(tmp_path: Path) -> Path:
    path = tmp_path / "lamp.csv"
    path.write_text(LINE_310, "utf-8")
    return path


@pytest.fixture
def slate(tmp_path: Path) -> Path:
    """A calibration of a guva-s12sd under a T5 lamp."""
    (tmp_path / "points.csv").write_text(POINTS, "utf-8")
    said("fit", tmp_path / "points.csv", "-o", tmp_path / "slate.toml")
    return tmp_path / "slate.toml"


def without_identity(file: Path) -> str:
    lines = file.read_text("utf-8").splitlines()
    return "\n".join(line for line in lines if not line.startswith("identity"))


def test_a_laboratorys_spectrum_becomes_a_uvi_and_its_vitamin_d3_part(slate: Path, lamp: Path) -> None:
    told = json.loads(said("show", slate, "--under", lamp, "--json"))["under"]
    assert told["source"] == "laboratory report 12, at 30 cm"
    # ISO/CIE 17166: a line of 1 W/m² at 310 nm is UVI 2.979, CIE 174 gives it 0.167 / 0.0744732 of that in D3
    # (both tables by their public copies); on its own points a triangle is its peak alone
    assert told["uvi"] == pytest.approx(2.979, rel=1e-3)
    assert told["erythemal_w_m2"] == pytest.approx(0.0744732, rel=1e-3)
    words = said("show", slate, "--under", lamp)
    assert "UVI 2.98, erythemal 74.5 mW/m²" in words
    assert "[lamp_factors.KIND]" in words


def test_a_calibration_says_by_how_much_it_is_off_under_another_kind_of_lamp(slate: Path) -> None:
    told = json.loads(said("show", slate, "--under", "uv-led", "--json"))["under"]
    assert told["uvi"] is None  # a model has a shape alone
    assert told["factor"] > 1.5  # this sensor sees the T5's UVA too, of which an LED at 310 nm has none
    words = said("show", slate, "--under", "uv-led")
    pasted = "\n".join(line.strip() for line in words.partition("identity line:\n")[2].splitlines()[:4])
    assert pasted.startswith("[lamp_factors.uv-led]")
    slate.write_text(f"{without_identity(slate)}\n{pasted}\n", "utf-8")
    (factor,) = read_calibration(slate).lamp_factors
    assert (factor.factor, factor.u_relative) == (told["factor"], told["u_factor_relative"])


def test_under_its_own_kind_of_lamp_there_is_nothing_to_paste(slate: Path) -> None:
    words = said("show", slate, "--under", "t5")
    assert "multiplied by 1.0 ± " in words
    assert "lamp_factors" not in words


def test_of_a_sensor_that_nobody_knows_no_factor_is_told(slate: Path) -> None:
    slate.write_text(without_identity(slate).replace("guva-s12sd", "abc123"), "utf-8")
    assert json.loads(said("show", slate, "--under", "sun", "--json"))["under"]["factor"] is None
    assert "not to be told" in said("show", slate, "--under", "sun")


def test_what_is_no_light_is_refused(slate: Path, tmp_path: Path) -> None:
    assert "'t5'" in refused("show", slate, "--under", "t55").remedy
    (tmp_path / "sensor.csv").write_text("wavelength_nm,response\n280,1\n320,1\n", "utf-8")
    assert "irradiance_w_m2_nm" in refused("show", slate, "--under", tmp_path / "sensor.csv").remedy


def test_a_spectrum_saved_by_a_spreadsheet_is_read(slate: Path, lamp: Path) -> None:
    lamp.write_bytes(b"\xef\xbb\xbf" + LINE_310.encode().replace(b"\n", b"\r\n"))
    told = json.loads(said("show", slate, "--under", lamp, "--json"))["under"]
    assert told["source"] == "laboratory report 12, at 30 cm"
