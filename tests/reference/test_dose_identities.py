"""Dose against published definitions and closed forms."""

import math

import numpy as np
import pytest

from exposure.dose import SED_PER_UVI_H, dose
from tests.exposure.series import T0_MS, every, samples_of

HOUR_MS = 3_600_000


def test_one_uvi_hour_is_0_9_sed():
    # WHO/WMO/UNEP/ICNIRP 2002, Global Solar UV Index: UVI = 40 m²/W × erythemal irradiance.
    # ISO/CIE 17166 and CIE 125-1997: 1 SED = 100 J/m².  0.025 × 3600 / 100 = 0.9.
    assert pytest.approx(1 / 40 * 3600 / 100, rel=1e-15) == SED_PER_UVI_H


@pytest.mark.parametrize(
    ("uvi", "hours", "sed"),
    [
        (1.0, 1, 0.9),
        (7.0, 1, 6.3),  # 7 × 0.025 W/m² × 3600 s = 630 J/m²
        (3.2, 10, 28.8),
    ],
)
def test_constant_uvi_gives_the_dose_of_the_definition(uvi, hours, sed):
    n = hours * 360 + 1
    received = dose(every(10, np.full(n, uvi)), T0_MS, T0_MS + hours * HOUR_MS, 35)
    assert received.sed == pytest.approx(sed, rel=1e-12)


@pytest.mark.parametrize("cadence_s", [1, 10, 60])
@pytest.mark.parametrize(("peak", "hours"), [(3.0, 12), (0.7, 8), (8.0, 14)])
def test_a_half_sine_day_gives_2_p_h_over_pi(peak, hours, cadence_s):
    # ∫ P sin(πt/H) dt from 0 to H = 2PH/π
    t_s = np.arange(0, 86_400 + cadence_s, cadence_s)
    up_s = 6 * 3600
    uvi = np.where(
        (t_s >= up_s) & (t_s <= up_s + hours * 3600),
        peak * np.sin(math.pi * (t_s - up_s) / (hours * 3600)),
        0.0,
    )
    received = dose(samples_of(T0_MS + t_s * 1000, uvi), T0_MS, T0_MS + 24 * HOUR_MS, 3.5 * cadence_s)
    assert received.uvi_h == pytest.approx(2 * peak * hours / math.pi, rel=2e-5)
    assert received.seconds_seen == 86_400
