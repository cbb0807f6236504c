"""Spectra: functions of the wavelength, and integrals of their products."""

import math
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.csv_table import TableFileError, parse_table

SHORTEST_NM, LONGEST_NM = 250.0, 400.0
"""What UVI counts: the range of the erythemal action spectrum.  Sunlight has practically nothing below
290 nm, and integrals for the sun may begin there, but lamps may have."""

FINE_NM = 1.0
"""A light given this finely is integrated on its own points, as laboratories do it: where an irradiance
rises steeply, straight lines between points overstate it, and the trapezoid rule on the points does not
(ASTM G173 each 0.5 nm: 0.001 % from a cubic spline on its points, against 0.06 % with straight lines)."""


class Nature(StrEnum):
    """Where the numbers of a spectrum come from."""

    MEASURED = "measured"
    DIGITISED = "digitised"  # read off a published figure
    MODEL = "model"  # made up to look like what is known


RELATIVE_UNCERTAINTY = {Nature.MEASURED: 0.05, Nature.DIGITISED: 0.10, Nature.MODEL: 0.30}
"""Standard uncertainty of a spectrum's shape if it states none.  Judgement."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """A function of the wavelength: a continuum given by points, and lines.

    `wavelength_nm` (n,) rises; `value` (n,) is not negative; between the points it is straight, outside
    of them it is zero.  `line_nm` (m,) and `line_value` (m,) are spectral lines, narrower than anything
    that looks at them: the value is that of their area.  The unit is that of `value`, W/(m² nm) for an
    irradiance, and W/m² for the lines; or anything, where only the shape counts.
    `u_relative`: standard uncertainty of the shape; neighbouring wavelengths err alike.
    """

    wavelength_nm: FloatArray
    value: FloatArray
    source: str
    nature: Nature
    u_relative: float
    line_nm: tuple[float, ...] = ()
    line_value: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not len(self.wavelength_nm) == len(self.value) >= 2 or len(self.line_nm) != len(self.line_value):
            raise ValueError("a spectrum needs two points or more, and as many values as wavelengths")
        if not (np.diff(self.wavelength_nm) > 0).all():
            raise ValueError("wavelengths must rise")
        if not (np.isfinite(self.value).all() and (self.value >= 0).all()):
            raise ValueError("values must be finite and not negative")

    def at(self, wavelength_nm: FloatArray) -> FloatArray:
        """Return the continuum at wavelengths (k,)."""
        return np.interp(wavelength_nm, self.wavelength_nm, self.value, left=0.0, right=0.0)


def nodes_nm(light: Spectrum, weight: Spectrum) -> FloatArray:
    """Return the wavelengths on which to integrate light times weight, within 250 to 400 nm.

    They are the light's own points if these lie no further apart than 1 nm, else these and the weight's.
    Where one of the two is not given the product is zero, and it may jump there, so no
    straight line is drawn across.
    """
    first = max(SHORTEST_NM, light.wavelength_nm[0], weight.wavelength_nm[0])
    last = min(LONGEST_NM, light.wavelength_nm[-1], weight.wavelength_nm[-1])
    if first >= last:
        return np.empty(0)
    own = light.wavelength_nm[(light.wavelength_nm > first) & (light.wavelength_nm < last)]
    nm = np.concatenate(([first], own, [last]))
    if np.diff(nm).max() > FINE_NM + 1e-9:
        nm = np.concatenate((nm, weight.wavelength_nm))
        nm = nm[(nm >= first) & (nm <= last)]
    return np.unique(nm)


def integral_of_product(light: Spectrum, weight: Spectrum) -> float:
    """Return the integral from 250 to 400 nm of light times weight, by the trapezoid rule on `nodes_nm`.

    The lines of the light are added, each with the weight at its place.
    """
    nm = nodes_nm(light, weight)
    continuum = float(np.trapezoid(light.at(nm) * weight.at(nm), nm))
    return continuum + float(np.sum(lines_within(light) * weight.at(np.array(light.line_nm))))


def lines_within(light: Spectrum) -> FloatArray:
    """Return the areas of the light's lines (m,), zero for those outside 250 to 400 nm."""
    nm = np.array(light.line_nm)
    return np.where((nm >= SHORTEST_NM) & (nm <= LONGEST_NM), np.array(light.line_value), 0.0)


_TO_W_M2 = {
    "irradiance_w_m2_nm": 1.0,
    "irradiance_mw_m2_nm": 1e-3,
    "irradiance_uw_cm2_nm": 1e-2,
    "response": 1.0,
}


def parse_spectrum(text: str, *, file: str, of: Collection[str] = tuple(_TO_W_M2)) -> Spectrum:
    """Read a spectrum from the text of a CSV file.

    Columns: `wavelength_nm` and one of `of`: `irradiance_w_m2_nm`, `irradiance_mw_m2_nm`,
    `irradiance_uw_cm2_nm`, `response`.  Settings: `source`, `nature` (measured, digitised or model),
    `u_relative`.  Small negative values, as noise makes them, count as zero.  Raises `TableFileError`.
    """
    table = parse_table(text, file=file)
    table.refuse_unknown_settings(("source", "nature", "u_relative", "sensor", "channel"))
    table.require_columns("wavelength_nm")
    names = [name for name in table.columns if name in of]
    if len(names) != 1:
        raise TableFileError(
            "one column of values is needed", where=file, remedy=f"Name it one of {', '.join(of)}"
        )
    try:
        nature = Nature(table.settings.get("nature", Nature.MEASURED))
    except ValueError:
        raise table.setting_error("nature", "unknown nature", f"Write one of {', '.join(Nature)}") from None
    wavelength_nm = np.array([row.number("wavelength_nm") for row in table.rows])
    value = np.array([row.number(names[0]) for row in table.rows]) * _TO_W_M2[names[0]]
    for earlier, later in zip(table.rows, table.rows[1:], strict=False):
        if later.number("wavelength_nm") <= earlier.number("wavelength_nm"):
            raise later.error("wavelength_nm", "wavelengths must rise", "Sort the rows by wavelength")
    peak = float(value.max())
    if len(value) < 2 or peak <= 0 or float(value.min()) < -0.05 * peak:
        raise TableFileError("values must be above zero, but for noise", where=file)
    u_relative = table.number_setting("u_relative", RELATIVE_UNCERTAINTY[nature])
    return Spectrum(
        wavelength_nm,
        np.maximum(value, 0.0),
        source=table.settings.get("source", file),
        nature=nature,
        u_relative=u_relative,
    )


def read_spectrum(path: Path) -> Spectrum:
    """Read a lamp's spectrum from a CSV file; raise `TableFileError` if it is none or misses too much.

    It must reach far enough: at its ends, what counts for UVI (irradiance times erythemal weight) must be
    below 2 % of its highest, because nothing is known beyond.
    """
    from calibrate.erythema import ERYTHEMA

    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TableFileError(f"cannot be read ({error})", where=str(path)) from None
    spectrum = parse_spectrum(text, file=str(path), of=[name for name in _TO_W_M2 if name != "response"])
    weighted = spectrum.value * ERYTHEMA.at(spectrum.wavelength_nm)
    if float(weighted.max()) <= 0:
        raise TableFileError("nothing between 250 and 400 nm", where=str(path))
    for end, limit in ((0, SHORTEST_NM), (-1, LONGEST_NM)):
        share = float(weighted[end] / weighted.max())
        reached = spectrum.wavelength_nm[end]
        if share > 0.02 and not math.isclose(reached, limit, abs_tol=1.0):
            raise TableFileError(
                f"ends at {reached:g} nm, where it still has {share:.0%} of its highest erythemal effect",
                where=str(path),
                remedy="Measure further, until hardly anything is left",
            )
    return spectrum
