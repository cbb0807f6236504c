import math

import numpy as np
import pytest

from exposure.normal import normal_cdf


def test_it_agrees_with_the_error_function_of_the_standard_library():
    z = np.linspace(-9, 9, 4001)
    exact = [0.5 * math.erfc(-x / math.sqrt(2)) for x in z]
    assert np.abs(normal_cdf(z) - exact).max() < 2e-6


def test_the_ends_are_sure():
    assert normal_cdf(np.array([-np.inf, -1e300, 1e300, np.inf])) == pytest.approx([0, 0, 1, 1], abs=1e-15)
