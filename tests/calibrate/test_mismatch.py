from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.erythema import ERYTHEMA
from calibrate.lamp_kinds import LAMP_KINDS, UnknownLampKindError
from calibrate.lamp_spectra import factor_under, lamp_model, response_behind, sensor_responses
from calibrate.mismatch import CORRELATION_NM, MismatchError, mismatch, mismatch_factor
from calibrate.spectra import Nature, Spectrum, parse_spectrum

kinds = st.sampled_from(sorted(LAMP_KINDS))
SENSOR = sensor_responses("ltr390")["uvs"]


@given(kinds)
def test_a_sensor_with_the_eyes_of_skin_has_no_mismatch(kind):
    found = mismatch(replace(ERYTHEMA, value=ERYTHEMA.value * 7), lamp_model("sun"), lamp_model(kind))
    assert found.factor == pytest.approx(1, rel=1e-4)


@given(kinds)
def test_the_same_light_has_no_mismatch_however_bright(kind):
    lamp = lamp_model(kind)
    brighter = replace(lamp, value=lamp.value * 3, line_value=tuple(value * 3 for value in lamp.line_value))
    assert mismatch_factor(SENSOR, lamp, brighter) == pytest.approx(1)


@given(kinds, kinds, kinds)
def test_factors_chain(a, b, c):
    there = mismatch_factor(SENSOR, lamp_model(a), lamp_model(b))
    on = mismatch_factor(SENSOR, lamp_model(b), lamp_model(c))
    assert mismatch_factor(SENSOR, lamp_model(a), lamp_model(c)) == pytest.approx(there * on)


def test_a_light_that_the_sensor_does_not_see_is_refused():
    far_red = Spectrum(np.array([600.0, 700.0]), np.ones(2), "far red", Nature.MEASURED, 0.05)
    with pytest.raises(MismatchError, match="far red"):
        mismatch_factor(SENSOR, lamp_model("t5"), far_red)


def test_the_uncertainty_is_that_of_spectra_drawn_at_random():
    calibrated, used = lamp_model("t5"), lamp_model("sun")
    rng = np.random.default_rng(20260321)
    nm = np.arange(250, 401.0)
    distance = (nm[:, np.newaxis] - nm) / CORRELATION_NM
    root = np.linalg.cholesky(np.exp(-(distance**2) / 2) + 1e-9 * np.eye(len(nm)))

    def drawn(spectrum, u_relative):
        error = u_relative * root @ rng.standard_normal(len(nm))
        factors = np.exp(error - u_relative**2 / 2)
        line = np.interp(spectrum.line_nm, nm, factors) if spectrum.line_nm else ()
        return replace(
            spectrum,
            wavelength_nm=nm,
            value=spectrum.at(nm) * factors,
            line_value=tuple(np.array(spectrum.line_value) * line),
        )

    # Small errors, because the propagation is of first order.
    c, z, s = (replace(light, u_relative=0.05) for light in (calibrated, used, SENSOR))
    factors = [
        mismatch_factor(
            replace(drawn(s, 0.05), wavelength_nm=nm + rng.standard_normal()), drawn(c, 0.05), drawn(z, 0.05)
        )
        for _ in range(400)
    ]
    found = mismatch(s, c, z)
    assert np.std(np.log(factors)) == pytest.approx(found.u_relative, rel=0.12)


def test_every_lamp_kind_has_a_model_marked_as_a_model():
    for kind in LAMP_KINDS:
        assert lamp_model(kind).nature is Nature.MODEL
    with pytest.raises(UnknownLampKindError):
        lamp_model("candle")


@pytest.mark.parametrize(
    "entry", sorted((files("calibrate") / "data" / "responses").iterdir(), key=str), ids=lambda e: e.name
)
def test_every_response_states_its_source_and_peaks_at_one(entry):
    response = parse_spectrum(entry.read_text(encoding="utf-8"), file=entry.name)
    assert response.source != entry.name
    assert response.nature in (Nature.DIGITISED, Nature.MODEL)
    assert response.value.max() == pytest.approx(1, abs=0.015)


def test_an_unknown_sensor_has_no_response():
    assert sensor_responses("abc123") == {}


@pytest.mark.parametrize(
    ("sensor", "channels", "of"),
    [
        ("ltr390", ("uv_counts",), ("ltr390", "uvs")),
        ("guva-s12sd+ads1115", ("photodiode_mv",), ("guva-s12sd", "uv")),
        ("tmp117+as7331", ("uvb_counts",), ("as7331", "uvb")),
    ],
)
def test_the_response_behind_a_calibration_is_found_by_sensor_and_channel(sensor, channels, of):
    assert response_behind(sensor, channels) is sensor_responses(of[0])[of[1]]


@pytest.mark.parametrize(
    ("sensor", "channels"),
    [("abc123", ("uv_counts",)), ("as7331", ("uva_counts", "uvb_counts")), ("as7331", ("clear_counts",))],
)
def test_where_no_response_is_known_none_is_guessed(sensor, channels):
    assert response_behind(sensor, channels) is None


def test_factors_to_another_light_are_honest_about_themselves():
    t8 = factor_under(lamp_model("t8"), SENSOR, "t5")
    assert t8.factor == pytest.approx(1)
    assert 0.1 < t8.u_relative <= 0.5
    # Sunlight has far more UVA for the same UVI, and this sensor sees it.
    assert factor_under(lamp_model("sun"), SENSOR, "t5").factor < 0.5


def test_a_sensor_that_sees_nothing_of_a_light_gets_no_factor():
    blind = replace(SENSOR, wavelength_nm=np.array([251.0, 252.0]), value=np.array([1.0, 1.0]))
    assert factor_under(lamp_model("t5"), blind, "t8") is None
