import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import calibrate
from calibrate.csv_table import TableFileError
from calibrate.points_file import parse_points, read_points

PAGE = (Path(calibrate.__file__).parent / "POINTS_FILE.md").read_text(encoding="utf-8")
EXAMPLE = re.search(r"```csv\n(.*?)```", PAGE, re.DOTALL).group(1)


def test_the_documented_example_is_read():
    found = parse_points(EXAMPLE, file="x.csv")
    points = found.points
    assert points.channels == ("uva_counts",)
    assert points.levels[:, 0].tolist() == [345, 697, 1004, 1431, 1880]
    assert points.reference_uvi.tolist() == [1.0, 2.0, 2.9, 4.2, 5.5]
    assert points.dark[:, 0].tolist() == [12.1, 11.8]
    assert points.temperature_c.tolist() == [24.3, 25.1, 25.8, 27.0, 28.2]
    assert points.labels[0] == "line 10"
    assert (found.lamp_kind, found.sensor_kind, found.made_on) == ("t5", "guva-s12sd", date(2026, 3, 2))
    assert found.saturation == {"uva_counts": 4095}


def test_the_meters_accuracy_and_resolution_are_rectangular():
    found = parse_points(EXAMPLE, file="x.csv")
    assert found.meter.u_relative == pytest.approx(0.10 / np.sqrt(3))
    assert found.points.u_reference_uvi[0] == pytest.approx(np.hypot(0.02, 0.1 / np.sqrt(12)))


def test_the_meters_certificate_is_halved():
    text = EXAMPLE.replace("meter_limits_percent = 10", "meter_expanded_percent = 10")
    assert parse_points(text, file="x.csv").meter.u_relative == pytest.approx(0.05)


def test_a_mean_of_n_readings_is_surer_than_one():
    points = parse_points(EXAMPLE, file="x.csv").points
    assert points.u_levels[:, 0] == pytest.approx([2 / np.sqrt(50)] * 5)
    assert points.u_dark[:, 0] == pytest.approx([2 / np.sqrt(50)] * 2)


def test_a_stated_uncertainty_of_a_level_is_taken_as_it_is():
    points = parse_points("uva_counts,u_uva_counts,uvi\n10,0.5,1\n20,,2\n", file="x.csv").points
    assert points.u_levels[:, 0].tolist() == [0.5, 0]


def test_several_channels_are_read_in_the_order_of_their_columns():
    points = parse_points("uvb_counts,uvi,uva_counts\n1,2,3\n", file="x.csv").points
    assert points.channels == ("uvb_counts", "uva_counts")
    assert points.levels.tolist() == [[1, 3]]


@pytest.mark.parametrize(
    ("right", "wrong", "where", "told"),
    [
        ("345,1.0", "345,one", "line 10, column uvi", "not a finite number"),
        ("345,1.0", "345,-1", "line 10, column uvi", "below 0"),
        ("345,1.0", "345,", "line 10, column uvi", "not a finite number"),
        ("345,1.0,0.02,50,24.3,", "345,1.0,0.02,50,24.3", "line 10", "5 columns where 6 belong"),
        ("12.1,,", "12.1,2.0,", "line 9, column uvi", "dark reading with UVI above 0"),
        ("23.9,dark", "23.9,darc", "line 9, column kind", "Write dark, lit or nothing"),
        (",50,23.9", ",0,23.9", "line 9, column n", "mean"),
        ("uva_counts,uvi,u_uvi", "uva_counts,uvi_reference,u_uvi", "x.csv", "no column uvi"),
        ("uva_counts,uvi,u_uvi", "kind2,uvi,u_uva", "x.csv", "u_uva"),
        ("lamp_kind = t5", "lamp_kind = t55", "line 1, lamp_kind", "Did you mean 't5'?"),
        ("lamp_kind", "lampkind", "line 1, lampkind", "Did you mean 'lamp_kind'?"),
        ("made_on = 2026-03-02", "made_on = 2.3.2026", "line 3, made_on", "2026-03-21"),
        ("meter_limits_percent = 10", "meter_limits_percent = -1", "line 4", "number from 0 up"),
        (
            "noise.uva_counts",
            "noise.uvb_counts",
            "line 6, noise.uvb_counts",
            "Did you mean 'noise.uva_counts'?",
        ),
        ("# made_on = 2026-03-02", "# meter_expanded_percent = 5", "meter_expanded_percent", "not both"),
    ],
)
def test_an_error_names_line_and_column_and_what_would_be_right(right, wrong, where, told):
    text = EXAMPLE.replace(right, wrong, 1)
    assert text != EXAMPLE
    with pytest.raises(TableFileError) as caught:
        parse_points(text, file="x.csv")
    assert where in caught.value.where or where in str(caught.value)
    assert told in str(caught.value)


@pytest.mark.parametrize("text", ["uvi\n1\n", "uva_counts,uvi,kind\n1,,dark\n"])
def test_a_file_without_channel_or_without_reference_is_refused(text):
    with pytest.raises(TableFileError):
        parse_points(text, file="x.csv")


@given(st.text(alphabet="#uvi,a_counts=\n0123456789.;-e\t", max_size=120))
def test_any_text_is_points_or_an_error_of_the_keeper(text):
    try:
        found = parse_points(text, file="x.csv")
    except TableFileError:
        return
    assert np.isfinite(found.points.levels).all()
    assert (found.points.reference_uvi >= 0).all()


def test_a_file_is_read_from_its_path(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text(EXAMPLE, encoding="utf-8")
    assert len(read_points(path).points) == 5
    with pytest.raises(TableFileError, match="cannot be read"):
        read_points(tmp_path / "none.csv")


def test_every_setting_of_the_page_is_known():
    settings = re.findall(r"^\| `([\w.]+)` \|", PAGE.partition("## Settings")[2], re.MULTILINE)
    known = parse_points(EXAMPLE, file="x.csv")
    assert known
    values = {"lamp_kind": "t5", "made_on": "2026-03-02", "meter_expanded_percent": "0"}
    for setting in settings:
        key = setting.replace("CHANNEL", "uva_counts")
        parse_points(f"# {key} = {values.get(key, '1')}\nuva_counts,uvi\n1,1\n", file="x.csv")
