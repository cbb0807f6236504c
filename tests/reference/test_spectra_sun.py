"""UVI of the ASTM G173-03 spectra as pvlib ships them."""

import os

import numpy as np
import pytest

from calibrate.erythema import uvi_of
from calibrate.lamp_spectra import lamp_model, sensor_responses
from calibrate.mismatch import mismatch
from calibrate.spectra import Nature, Spectrum

if os.environ.get("CI"):
    import pvlib
else:
    pvlib = pytest.importorskip("pvlib")


@pytest.fixture(scope="module")
def astm_g173():
    spectra = pvlib.spectrum.get_reference_spectra(standard="ASTM G173-03").loc[:400.0]
    nm = spectra.index.to_numpy(dtype=float)
    return {
        name: Spectrum(nm, spectra[name].to_numpy(dtype=float), "ASTM G173-03", Nature.MEASURED, 0.05)
        for name in ("global", "direct")
    }


# Integrated independently: 280-400 nm, each 0.5 nm, trapezoid, constant 140.  With 139 it would be 3.6619
# and 2.0506.
@pytest.mark.parametrize(("name", "uvi"), [("global", 3.6899), ("direct", 2.0683)])
def test_the_sun_of_astm_g173_has_its_uvi(astm_g173, name, uvi):
    assert uvi_of(astm_g173[name]) == pytest.approx(uvi, rel=1e-4)


def test_a_cubic_spline_through_the_points_agrees(astm_g173):
    from scipy.interpolate import CubicSpline

    from calibrate.erythema import erythemal_weight

    sun = astm_g173["global"]
    nm = np.arange(280, 400.0001, 0.01)
    spline = CubicSpline(sun.wavelength_nm, sun.value)(nm)
    assert uvi_of(sun) == pytest.approx(40 * np.trapezoid(spline * erythemal_weight(nm), nm), rel=1e-4)


@pytest.mark.parametrize("sensor", ["guva-s12sd", "ltr390", "as7331"])
def test_the_model_of_the_sun_is_within_its_own_uncertainty_of_the_measured_one(astm_g173, sensor):
    for channel, response in sensor_responses(sensor).items():
        if channel != "uvc":  # it sees nothing of the sun but the model's tail
            found = mismatch(response, lamp_model("sun"), astm_g173["global"])
            assert abs(np.log(found.factor)) < 2 * found.u_relative
