"""The erythemal action spectrum and the UV Index.

Notes
-----
ISO/CIE 17166:2019 (it replaced ISO 17166:1999, which is CIE S 007/E-1998).  With λ in nm:

- 1 for 250 ≤ λ ≤ 298,
- 10^(0.094 (298 − λ)) for 298 < λ ≤ 328,
- 10^(0.015 (140 − λ)) for 328 < λ ≤ 400,
- 0 elsewhere.

The constant 140 makes the branches meet at 328 nm.  A variant with 139 is in use too; it is 3.4 % lower
above 328 nm and is not the standard (Webb, Slaper, Koepke & Schmalwieser 2011, Photochem. Photobiol.
87, 483-486: several versions are in use, only one is the standard).

References
----------
.. [1] ISO/CIE 17166:2019, Erythema reference action spectrum and standard erythema dose.
.. [2] WHO, WMO, UNEP, ICNIRP 2002, Global Solar UV Index: A Practical Guide, WHO/SDE/OEH/02.2.
"""

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.spectra import LONGEST_NM, SHORTEST_NM, Nature, Spectrum, integral_of_product

UVI_M2_W = 40.0
"""UVI for each W/m² of erythemally weighted irradiance [2]_."""


def erythemal_weight(wavelength_nm: FloatArray) -> FloatArray:
    """Return the erythemal action spectrum.

    Parameters
    ----------
    wavelength_nm
        Wavelengths (n,) in nm.

    Returns
    -------
    FloatArray
        Weights (n,), dimensionless, 0 outside 250 to 400 nm.  NaN gives 0.
    """
    nm = np.asarray(wavelength_nm, dtype=np.float64)
    return np.select(
        [(nm >= 250) & (nm <= 298), (nm > 298) & (nm <= 328), (nm > 328) & (nm <= 400)],
        [np.ones_like(nm), 10 ** (0.094 * (298 - nm)), 10 ** (0.015 * (140 - nm))],
        0.0,
    )


def _standard() -> Spectrum:
    # Each 0.01 nm: straight lines between are then within 1 part in 10⁶ of the curve.
    nm = np.linspace(SHORTEST_NM, LONGEST_NM, 15_001)
    return Spectrum(nm, erythemal_weight(nm), "ISO/CIE 17166:2019", Nature.MEASURED, 0.0)


ERYTHEMA = _standard()
"""The action spectrum as a `Spectrum`."""


def uvi_of(light: Spectrum) -> float:
    """Return the UV Index of a spectral irradiance in W/(m² nm).

    The integral runs from 250 to 400 nm by the trapezoid rule: on the spectrum's own points if they lie
    no further apart than 1 nm, else on every 0.01 nm with straight lines between its points.  Outside its
    points the light counts as zero.
    """
    return UVI_M2_W * integral_of_product(light, ERYTHEMA)
