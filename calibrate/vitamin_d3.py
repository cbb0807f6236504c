"""The action spectrum for the production of previtamin D3 in human skin.

Notes
-----
CIE 174:2006, 252 to 330 nm at each nm, zero elsewhere, straight between.  The numbers are those of two
public tools that carry the table independently and agree in every digit; the CIE report itself was not
seen.  It is an action spectrum of human skin, and its long-wave end is disputed (Norval, Björn & de Gruijl
2010, Photochem. Photobiol. Sci. 9, 11-17); a CIE workshop found that it probably needs amendment, and is to
be used until there is a better one (Webb et al. 2023, Lighting Res. Technol. 55, 487-497, abstract read).
"""

from functools import cache
from importlib.resources import files

from calibrate.spectra import Spectrum, integral_of_product, parse_spectrum


@cache
def vitamin_d3_weight() -> Spectrum:
    """Return the action spectrum; 1 at its peak, 298 nm."""
    name = "vitamin_d3.csv"
    return parse_spectrum((files("calibrate") / "data" / name).read_text(encoding="utf-8"), file=name)


def vitamin_d3_effective_w_m2(light: Spectrum) -> float:
    """Return the irradiance in W/m², weighted for previtamin D3, of a spectral irradiance in W/(m² nm)."""
    return integral_of_product(light, vitamin_d3_weight())
