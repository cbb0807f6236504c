"""A day of light that can be reckoned by hand, through the real store and the real command.

The UVI rises and falls as half a sine wave of peak P [UVI] and length H [h].  Source: elementary calculus.
With t from 0 to H, UVI(t) = P sin(pi t / H), and

    dose = integral over t of P sin(pi t / H) = P (H / pi) (cos 0 - cos pi) = 2 P H / pi   [UVI h]
    hours over a level L < P = H (1 - 2 a / pi) with a = arcsin(L / P), from P sin(pi t / H) = L
    mean while over L = (2 P / pi) cos(a) / (1 - 2 a / pi), from the same integral between those times

and 1 UVI h = 0.025 W/m2 x 3600 s = 90 J/m2 = 0.9 SED of 100 J/m2 (ISO/CIE 17166:2019; WHO 2002, Global Solar
UV Index).
"""

import json
import math
from datetime import date

import pytest

from tests.baskline.making import fill, half_sine, room, said_here

LOW_UVI, CEILING_UVI = 1.0, 4.0  # of the room


def hours_over(level: float, peak: float, length_h: float) -> float:
    return length_h * (1 - 2 / math.pi * math.asin(level / peak)) if level < peak else 0.0


@pytest.mark.parametrize(("peak", "length_h", "every_s"), [(2.5, 11.0, 10), (5.0, 8.0, 60), (1.2, 14.0, 1)])
@pytest.mark.parametrize("day", [date(2025, 5, 17), date(2025, 3, 30), date(2025, 10, 26)])
def test_a_half_sine_day_has_the_dose_of_its_formula(tmp_path, peak, length_h, every_s, day):
    config = room(tmp_path)
    fill(config, day, half_sine(peak, 6.0, length_h), every_s=every_s)
    shown = json.loads(said_here("day", "ledge", "--date", day, "--json", folder=tmp_path).out)

    dose = 2 * peak * length_h / math.pi
    assert shown["dose_uvi_h"] == pytest.approx(dose, rel=0.002)
    assert shown["dose_sed"] == pytest.approx(0.9 * dose, rel=0.002)
    assert shown["peak_uvi"] == pytest.approx(peak, rel=0.001)
    assert shown["hours_above_ceiling"] == pytest.approx(hours_over(CEILING_UVI, peak, length_h), abs=0.01)
    over_low = shown["hours_in_band"] + shown["hours_above_band"]
    assert over_low == pytest.approx(hours_over(LOW_UVI, peak, length_h), abs=0.01)
    threshold = shown["lit_threshold_uvi"]
    assert shown["lit_hours"] == pytest.approx(hours_over(threshold, peak, length_h), abs=0.02)
    dark = math.asin(threshold / peak)  # the phase at which it becomes light
    mean = 2 * peak / math.pi * math.cos(dark) / (1 - 2 * dark / math.pi)
    assert shown["mean_uvi_lit"] == pytest.approx(mean, rel=0.002)


def test_the_dose_error_of_a_half_sine_day_is_far_below_its_uncertainty(tmp_path):
    fill(room(tmp_path), date(2025, 5, 17), half_sine(2.5, 6.0, 11.0))
    shown = json.loads(said_here("day", "ledge", "--date", "2025-05-17", "--json", folder=tmp_path).out)
    assert abs(shown["dose_uvi_h"] - 2 * 2.5 * 11.0 / math.pi) < 0.01 * shown["u_dose_uvi_h"]
