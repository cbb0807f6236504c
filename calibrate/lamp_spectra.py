"""Models of the light of each lamp kind, and the sensor responses that come with baskline.

The lamp models are models: bells, slopes and mercury lines put together to look like what is commonly
known of each kind, not measured on any lamp, and no two lamps of a kind are alike.  They serve to say how
far a sensor may be off under another kind, and are never better than their stated 30 %.  Whoever has a
laboratory's spectrum of the own lamp should use that.
"""

from functools import cache
from importlib.resources import files

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.lamp_kinds import LAMP_KINDS, lamp_kind
from calibrate.mismatch import Mismatch, MismatchError, mismatch
from calibrate.spectra import (
    LONGEST_NM,
    RELATIVE_UNCERTAINTY,
    SHORTEST_NM,
    Nature,
    Spectrum,
    parse_spectrum,
)

MOST_FACTOR, MOST_U_RELATIVE = 50.0, 0.5
"""Beyond these a factor is no correction.  Judgement."""

_NM = np.linspace(SHORTEST_NM, LONGEST_NM, 301)

_MERCURY_NM = (289.4, 296.7, 302.2, 312.6, 313.2, 334.1, 365.0, 365.5, 366.3)
"""Lines of mercury that pass the glass of such lamps (standard tables of the element's spectrum)."""


def _bell(centre_nm: float, width_nm: float) -> FloatArray:
    """Return a bell of height 1 and full width `width_nm` at half height."""
    bell: FloatArray = np.exp(-4 * np.log(2) * ((_NM - centre_nm) / width_nm) ** 2)
    return bell


def _glass(edge_nm: float, softness_nm: float = 2.5) -> FloatArray:
    """Return a transmission that rises from 5 % to 95 % within 6 times its softness about its edge."""
    transmission: FloatArray = 1 / (1 + np.exp(-(_NM - edge_nm) / softness_nm))
    return transmission


def _model(kind: str, continuum: FloatArray, lines: tuple[float, ...] = ()) -> Spectrum:
    return Spectrum(
        _NM,
        continuum,
        source=f"baskline's model of {LAMP_KINDS[kind].title}",
        nature=Nature.MODEL,
        u_relative=RELATIVE_UNCERTAINTY[Nature.MODEL],
        line_nm=_MERCURY_NM if lines else (),
        line_value=lines,
    )


def _fluorescent(kind: str, uvb: float) -> Spectrum:
    # A UVB phosphor about 312 nm, a UVA phosphor about 350 nm, and the lines of the discharge.
    bands = uvb * _bell(312, 32) + _bell(350, 45)
    return _model(kind, bands * _glass(293), (0.0, 0.1, 0.2, 0.8, 0.8, 0.3, 2.0, 0.5, 0.4))


def _sun() -> Spectrum:
    # What arrives outside the atmosphere rises gently; ozone (320 DU, overhead path times 1.2) cuts it off
    # by a coefficient that falls e-fold in 7.3 nm: 10.6 per atm-cm at 300 nm, from a cross-section of
    # 3.9e-19 cm² (commonly tabulated; from memory), and scattering takes its share.
    outside = 0.5 + 0.5 * (_NM - 300) / 100
    ozone = 10.6 * np.exp(-(_NM - 300) / 7.3) * 0.32 * 1.2
    scattering = 0.6 * (350 / _NM) ** 4
    return _model("sun", np.maximum(outside, 0.0) * np.exp(-ozone - scattering))


@cache
def lamp_model(kind: str) -> Spectrum:
    """Return the model of a lamp kind's light, of arbitrary height; raise `UnknownLampKindError`."""
    match lamp_kind(kind).key:
        case "t5" | "t8":
            return _fluorescent(kind, uvb=0.5)
        case "compact":
            return _fluorescent(kind, uvb=0.35)
        case "mercury-vapour":
            lines = (0.01, 0.1, 0.4, 1.2, 1.2, 0.4, 4.0, 1.5, 1.0)
            return _model(kind, 0.02 * _glass(297) * np.ones_like(_NM), lines)
        case "metal-halide":
            lines = (0.0, 0.0, 0.0, 0.3, 0.3, 0.2, 2.0, 0.7, 0.5)
            return _model(kind, (0.2 + 0.8 * _bell(390, 120)) * _glass(310, 5), lines)
        case "uv-led":
            return _model(kind, _bell(310, 12))
        case _:
            return _sun()


@cache
def sensor_responses(sensor_kind: str) -> dict[str, Spectrum]:
    """Return the known responses of a sensor by the name of its channel; none for an unknown sensor.

    Each says in `source` and `nature` whether it was read off a datasheet's figure or is made up.
    """
    folder = files("calibrate") / "data" / "responses"
    found = {}
    for entry in folder.iterdir():
        sensor, _, channel = entry.name.removesuffix(".csv").partition(".")
        if sensor == sensor_kind:
            found[channel or "uv"] = parse_spectrum(entry.read_text(encoding="utf-8"), file=entry.name)
    return found


def response_behind(sensor_kind: str, channels: tuple[str, ...]) -> Spectrum | None:
    """Return the response behind a calibration; None if its sensor is unknown, or it reads several channels.

    `sensor_kind` may name more than the sensor, as boards do: `guva-s12sd+ads1115`.
    """
    if len(channels) != 1:
        return None
    for part in sensor_kind.split("+"):
        responses = sensor_responses(part)
        if len(responses) == 1:
            return next(iter(responses.values()))
        if responses:
            return responses.get(channels[0].partition("_")[0])
    return None


def factor_under(light: Spectrum, response: Spectrum, calibrated_kind: str) -> Mismatch | None:
    """Return what the UVI of a sensor calibrated under a kind of lamp has to be multiplied by under a light.

    The kind is taken as its model has it.  None where the sensor sees so little, or so little is known, that
    the factor would be beyond 50 or its relative uncertainty beyond 50 %.
    """
    try:
        found = mismatch(response, lamp_model(calibrated_kind), light)
    except MismatchError:
        return None
    usable = 1 / MOST_FACTOR <= found.factor <= MOST_FACTOR and found.u_relative <= MOST_U_RELATIVE
    return found if usable else None
