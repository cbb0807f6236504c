from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import calibrate
from calibrate.csv_table import TableFileError, parse_table
from calibrate.spectra import Nature, Spectrum, integral_of_product, parse_spectrum, read_spectrum

GOOD = """\
# source = a laboratory
# nature = measured
wavelength_nm,irradiance_w_m2_nm
280,0
300,1e-3
400,2e-3
"""


def test_a_spectrum_is_read_with_its_source():
    spectrum = parse_spectrum(GOOD, file="x.csv")
    assert spectrum.source == "a laboratory"
    assert spectrum.nature is Nature.MEASURED
    assert spectrum.value.tolist() == [0, 1e-3, 2e-3]


@pytest.mark.parametrize(
    ("column", "factor"), [("irradiance_mw_m2_nm", 1e-3), ("irradiance_uw_cm2_nm", 1e-2)]
)
def test_other_units_are_converted(column, factor):
    spectrum = parse_spectrum(GOOD.replace("irradiance_w_m2_nm", column), file="x.csv")
    assert spectrum.value == pytest.approx(np.array([0, 1e-3, 2e-3]) * factor)


def test_decimal_commas_are_read_where_columns_are_parted_by_semicolon():
    spectrum = parse_spectrum("wavelength_nm;response\n300,5;0,25\n301,5;1\n", file="x.csv")
    assert spectrum.wavelength_nm.tolist() == [300.5, 301.5]
    assert spectrum.value.tolist() == [0.25, 1]


@pytest.mark.parametrize(
    ("text", "where", "told"),
    [
        (GOOD.replace("300,1e-3", "300,x"), "line 5, column irradiance_w_m2_nm", "not a finite number"),
        (GOOD.replace("300,1e-3", "300"), "line 5", "1 columns where 2 belong"),
        (GOOD.replace("300,1e-3", "270,1e-3"), "line 5, column wavelength_nm", "must rise"),
        (GOOD.replace("measured", "guessed"), "line 2, nature", "Write one of"),
        (GOOD.replace("source", "sourc"), "line 1, sourc", "Did you mean 'source'?"),
        (GOOD.replace("wavelength_nm", "wavelenght_nm"), "x.csv", "Rename 'wavelenght_nm'"),
        (GOOD.replace("irradiance_w_m2_nm", "power"), "x.csv", "Name it one of"),
        (GOOD.replace("2e-3", "-2e-3"), "x.csv", "above zero"),
        ("# only = settings\n", "x.csv", "names of the columns"),
        ("wavelength_nm,response\n", "x.csv", "no row"),
        ("a,a\n1,2\n", "x.csv, line 1", "Name each column once"),
        ("# u_relative = much\nwavelength_nm,response\n1,1\n2,1\n", "line 1, u_relative", "number from 0 up"),
    ],
)
def test_an_error_names_line_and_column(text, where, told):
    with pytest.raises(TableFileError) as caught:
        parse_spectrum(text, file="x.csv")
    assert where in caught.value.where
    assert told in str(caught.value)


@given(st.text(max_size=200))
def test_any_text_is_a_table_or_an_error_of_the_keeper(text):
    try:
        table = parse_table(text, file="x.csv")
    except TableFileError:
        return
    assert all(len(row.cells) == len(table.columns) for row in table.rows)


def test_a_lamp_spectrum_that_stops_too_early_is_refused(tmp_path):
    path = tmp_path / "lamp.csv"
    path.write_text("wavelength_nm,irradiance_w_m2_nm\n" + "".join(f"{nm},1e-3\n" for nm in range(300, 401)))
    with pytest.raises(TableFileError, match="ends at 300 nm"):
        read_spectrum(path)


def test_a_lamp_spectrum_that_reaches_far_enough_is_taken(tmp_path):
    path = tmp_path / "lamp.csv"
    nm = np.arange(280, 351)
    value = np.exp(-(((nm - 312) / 10) ** 2))
    path.write_text(
        "wavelength_nm,irradiance_w_m2_nm\n"
        + "".join(f"{a},{b:.6f}\n" for a, b in zip(nm, value, strict=True))
    )
    assert read_spectrum(path).value.max() == pytest.approx(1)


def test_a_file_that_is_not_there_is_an_error_of_the_keeper():
    with pytest.raises(TableFileError, match="cannot be read"):
        read_spectrum(Path("/nowhere/lamp.csv"))


spectra = st.lists(st.floats(0, 10), min_size=2, max_size=8).map(
    lambda values: Spectrum(np.linspace(260, 390, len(values)), np.array(values), "", Nature.MODEL, 0.0)
)


@given(spectra, spectra, st.floats(0, 100))
def test_an_integral_grows_in_proportion_to_the_light(light, weight, factor):
    brighter = Spectrum(light.wavelength_nm, light.value * factor, "", Nature.MODEL, 0.0)
    assert integral_of_product(brighter, weight) == pytest.approx(
        factor * integral_of_product(light, weight), rel=1e-9, abs=1e-9
    )


@given(spectra, spectra)
def test_a_coarse_product_is_the_same_either_way_round(light, weight):
    assert integral_of_product(light, weight) == pytest.approx(integral_of_product(weight, light))


def test_the_documented_example_is_read():
    page = (Path(calibrate.__file__).parent / "SPECTRUM_FILE.md").read_text(encoding="utf-8")
    example = page.partition("```csv\n")[2].partition("```")[0]
    spectrum = parse_spectrum(example, file="x.csv")
    assert spectrum.value.tolist() == pytest.approx([0, 1e-5, 3e-5])
    assert spectrum.u_relative == 0.05
