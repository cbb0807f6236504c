"""`calibrate fit`, `predict` and `show` on files alone."""

import json
from itertools import pairwise
from pathlib import Path

import pytest
from typer.testing import CliRunner

from baskline.commands.calibrate import calibrate
from calibrate.calibration_file import read_calibration
from calibrate.errors import KeeperError

POINTS = """\
# lamp_kind = t5
# sensor_kind = guva-s12sd
# made_on = 2026-03-02
# meter_limits_percent = 10
# meter_resolution_uvi = 0.1
# noise.uva_counts = 2
# saturation.uva_counts = 4095
uva_counts,uvi,u_uvi,n,temperature_c,kind
12.1,,,50,23.9,dark
345,1.0,0.02,50,24.3,
697,2.0,0.04,50,25.1,
1004,2.9,0.06,50,25.8,
1431,4.2,0.08,50,27.0,
1880,5.5,0.11,50,28.2,
11.8,,,50,28.0,dark
"""


@pytest.fixture
def points(tmp_path: Path) -> Path:
    path = tmp_path / "slate.points.csv"
    path.write_text(POINTS, "utf-8")
    return path


def said(*words: object) -> str:
    result = CliRunner().invoke(calibrate, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*words: object) -> KeeperError:
    result = CliRunner().invoke(calibrate, [str(word) for word in words])
    assert isinstance(result.exception, KeeperError), result.output
    assert "\n" not in str(result.exception)
    assert result.exception.remedy
    return result.exception


def test_the_json_of_a_fit_holds_what_a_stranger_needs_to_repeat_it(points: Path) -> None:
    told = json.loads(said("fit", points, "--json"))
    assert told["model"] == "proportional"
    assert set(told["coefficients"]) == {"dark.uva_counts", "slope.uva_counts"}
    for i, error in enumerate(told["standard_errors"].values()):
        assert told["covariance"][i][i] == pytest.approx(error**2)
    assert told["reduced_chi2"] < 1
    assert told["valid_range"]["uva_counts"] == [11.8, 1880.0]
    assert told["valid_range"]["uvi"] == [0.0, 5.5]
    assert told["reasons"]
    assert told["points"][0]["label"] == "line 10"


def test_a_model_may_be_asked_for(points: Path) -> None:
    told = json.loads(said("fit", points, "--model", "power", "--json"))
    assert told["kind"] == "power"
    assert "asked for" in told["reasons"][0]
    assert "Did you mean 'line'" in refused("fit", points, "--model", "lin").remedy


def test_a_written_calibration_predicts_what_the_points_say(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file, "--name", "Slate")
    told = json.loads(
        said("predict", file, "--at", "uva_counts=1004", "--at", "temperature_c=25.8", "--json")
    )
    assert told["uvi"] == pytest.approx(2.92, abs=0.02)
    assert 0.1 < told["u_uvi"] < 0.4
    assert told["flags"] == []
    assert told["calibration"] == read_calibration(file).identity


def test_levels_may_follow_one_another_after_one_option(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    told = json.loads(said("predict", file, "--json", "--at", "uva_counts=1004", "temperature_c=25.8"))
    assert told["at"] == {"uva_counts": 1004.0, "temperature_c": 25.8}


@pytest.mark.parametrize(
    ("levels", "flag"),
    [
        (("uva_counts=3000", "temperature_c=26"), "above_range"),
        (("uva_counts=4095", "temperature_c=26"), "saturated"),
        (("uva_counts=-500", "temperature_c=26"), "negative"),
        (("uva_counts=900", "temperature_c=60"), "temperature"),
        (("uva_counts=900",), "temperature"),
    ],
)
def test_a_prediction_says_what_is_wrong_with_it(
    points: Path, tmp_path: Path, levels: tuple[str, ...], flag: str
) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    told = json.loads(
        said("predict", file, "--json", *(word for level in levels for word in ("--at", level)))
    )
    assert flag in told["flags"]


def test_another_lamp_kind_and_age_widen_a_prediction(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    ask = ("predict", file, "--json", "--at", "uva_counts=900", "--at", "temperature_c=26")
    own, aged, other = (
        json.loads(said(*ask, *more)) for more in ((), ("--days", "300"), ("--lamp-kind", "uv-led"))
    )
    assert own["u_uvi"] < aged["u_uvi"] < other["u_uvi"]
    assert other["flags"] == ["other_lamp_kind"]


def test_levels_that_cannot_be_meant_are_refused_with_what_can(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    assert "uva_counts" in refused("predict", file, "--at", "uvb_counts=5").remedy
    assert "uva_counts" in refused("predict", file, "--at", "temperature_c=26").remedy
    assert "finite" in refused("predict", file, "--at", "uva_counts=inf").what
    assert "twice" in refused("predict", file, "--at", "uva_counts=1", "uva_counts=2").what
    refused("predict", tmp_path / "none.toml", "--at", "uva_counts=1")


def test_a_calibration_is_never_written_over_another(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    before = file.read_bytes()
    assert "never" in refused("fit", points, "--model", "line", "-o", file).what
    assert file.read_bytes() == before


def test_points_of_an_unstated_lamp_are_fitted_but_make_no_calibration(tmp_path: Path) -> None:
    points = tmp_path / "plain.csv"
    points.write_text(POINTS.replace("# lamp_kind = t5\n", ""), "utf-8")
    assert json.loads(said("fit", points, "--json"))["identity"] is None
    assert "--lamp-kind" in refused("fit", points, "-o", tmp_path / "out.toml").remedy
    said("fit", points, "-o", tmp_path / "out.toml", "--lamp-kind", "t8")
    assert read_calibration(tmp_path / "out.toml").lamp_kind == "t8"


def test_a_known_temperature_coefficient_goes_into_the_calibration(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file, "--per-c", "0.002", "--u-per-c", "0.0005")
    temperature = read_calibration(file).temperature
    assert temperature is not None
    assert (temperature.coefficient_per_c, temperature.u_coefficient_per_c) == (0.002, 0.0005)


def test_the_budget_adds_up_and_takes_the_largest_source_first(points: Path, tmp_path: Path) -> None:
    file = tmp_path / "slate.toml"
    said("fit", points, "-o", file)
    told = json.loads(said("show", file, "--at", "uva_counts=1431", "temperature_c=27", "--json"))
    rows = told["budget"]["rows"]
    assert sum(row["u_uvi"] ** 2 for row in rows) == pytest.approx(told["budget"]["u_uvi"] ** 2)
    assert all(one["u_uvi"] >= other["u_uvi"] for one, other in pairwise(rows))
    assert rows[0]["source"] == "reference meter"
    assert told["history"] is None


def test_the_curve_is_drawn_with_letters_and_as_a_picture(points: Path, tmp_path: Path) -> None:
    chart = tmp_path / "slate.png"
    told = said("fit", points, "--chart", chart)
    assert chart.read_bytes().startswith(b"\x89PNG")
    drawn = [line for line in told.splitlines() if "|" in line]
    assert sum(line.count("o") for line in drawn) == 5
    heights = [
        i
        for column in range(8, 68)
        for i, line in enumerate(drawn)
        if line[column : column + 1] in {"*", "o"}
    ]
    assert heights[0] > heights[-1]  # it rises


def test_what_is_neither_file_nor_spot_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert "no such configuration" in str(refused("show", "slate")) or "there is no" in str(
        refused("show", "slate")
    )
    assert "path" in refused("show", "slate.toml").remedy
