"""What `calibrate show --under` says of another light, as JSON (baskline/OUTPUT.md) and in words."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from calibrate.calibration import Calibration
from calibrate.erythema import UVI_M2_W, uvi_of
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.lamp_spectra import factor_under, response_behind
from calibrate.spectra import Nature, Spectrum
from calibrate.vitamin_d3 import vitamin_d3_effective_w_m2
from exposure.wording import uvi_text

_DIGITS: Final = 4  # significant ones: far below what any spectroradiometer is good for


def under_fields(calibration: Calibration, light: Spectrum, kind: str | None) -> dict[str, Any]:
    """Return what a light is, and how far a calibration is off under it; `kind` of a model's lamp."""
    erythemal_w_m2, d3_w_m2 = uvi_of(light) / UVI_M2_W, vitamin_d3_effective_w_m2(light)
    has_height = light.nature is not Nature.MODEL
    response = response_behind(calibration.sensor_kind, tuple(each.name for each in calibration.channels))
    found = None if response is None else factor_under(light, response, calibration.lamp_kind)
    return {
        "lamp_kind": kind,
        "source": light.source,
        "nature": light.nature.value,
        "u_relative": light.u_relative,
        "uvi": _rounded(UVI_M2_W * erythemal_w_m2) if has_height else None,
        "erythemal_w_m2": _rounded(erythemal_w_m2) if has_height else None,
        "vitamin_d3_w_m2": _rounded(d3_w_m2) if has_height else None,
        "vitamin_d3_times_erythemal": _rounded(d3_w_m2 / erythemal_w_m2),
        "response_source": None if response is None else response.source,
        "factor": None if found is None else _rounded(found.factor),
        "u_factor_relative": None if found is None else _rounded(found.u_relative),
    }


def _rounded(number: float) -> float:
    return float(f"{number:.{_DIGITS}g}")


def under_lines(under: Mapping[str, Any], calibration: Calibration) -> Iterator[str]:
    """Yield the same in words."""
    yield f"Under {under['source']} ({under['nature']}, shape ± {200 * under['u_relative']:.0f} %, k = 2):"
    times = f"{under['vitamin_d3_times_erythemal']:.2g} times the erythemal, both of human skin"
    if under["uvi"] is None:
        yield f"  the light: no UVI, since a model has a shape alone; previtamin D3 {times}"
    else:
        yield (
            f"  the light: UVI {under['uvi']:.3g}, erythemal {1000 * under['erythemal_w_m2']:.3g} mW/m²,"
            f" previtamin D3 {1000 * under['vitamin_d3_w_m2']:.3g} mW/m² ({times})"
        )
    if under["response_source"] is None:
        yield "  this calibration: not to be told, its sensor's response is not known or it reads several"
        return
    if under["factor"] is None:
        yield "  this calibration: not to be told, the sensor sees too little of one of the lights, or too"
        yield "  unlike skin: calibrate under this lamp"
        return
    factor, u_relative = under["factor"], under["u_factor_relative"]
    yield (
        f"  this calibration: its UVI has to be multiplied by"
        f" {uvi_text(factor, u_relative * factor, 2.0, at_least=False)} (k = 2), by a model of"
        f" {LAMP_KINDS[calibration.lamp_kind].title} and its sensor's response ({under['response_source']})"
    )
    if under["lamp_kind"] == calibration.lamp_kind:
        return
    yield "  Better: calibrate under this lamp. Until then, in the calibration file, less its identity line:"
    yield f"    [lamp_factors.{under['lamp_kind'] or 'KIND'}]"
    yield f"    factor = {factor:g}"
    yield f"    u_relative = {u_relative:g}"
    yield '    source = "spectra"'
