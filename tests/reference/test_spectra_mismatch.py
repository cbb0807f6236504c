"""The mismatch factor against a sum done by hand (CIE 220:2016; the form of IEC 60904-7)."""

import numpy as np
import pytest

from calibrate.mismatch import mismatch_factor
from calibrate.spectra import Nature, Spectrum

NONE = np.zeros(2)


def lines(nm, value):
    return Spectrum(np.array([250.0, 400.0]), NONE, "lines", Nature.MODEL, 0.0, nm, value)


def test_two_lines_give_the_factor_of_the_hand_sum():
    # Lines at 300 and 340 nm; sensor 0.4 and 1.0; calibrated under 1 : 10, used under 1 : 3; erythemal
    # weights w = 0.6486344 and 0.001.  F = [(w + 3·0.001) / (0.4 + 3)] / [(w + 10·0.001) / (0.4 + 10)].
    sensor = Spectrum(np.array([300.0, 340.0]), np.array([0.4, 1.0]), "sensor", Nature.MODEL, 0.0)
    calibrated, used = lines((300.0, 340.0), (1.0, 10.0)), lines((300.0, 340.0), (1.0, 3.0))
    w300 = 10 ** (0.094 * -2)
    by_hand = ((w300 + 0.003) / 3.4) / ((w300 + 0.01) / 10.4)
    assert by_hand == pytest.approx(3.026314199, abs=5e-10)
    assert mismatch_factor(sensor, calibrated, used) == pytest.approx(by_hand, rel=1e-6)
