"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods."""

import numpy as np
import pytest

from calibrate.control_chart import control_chart, sigma_of_moving_ranges


def test_the_ewma_chart_of_the_handbook():
    # 6.3.2.4: EWMA0 = 50, s = 2.0539, lambda = 0.3, limits 47.4115 and 52.5884 (printed from a factor cut
    # to 4 digits), the averages as printed.
    data = (
        "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
    )
    printed = (
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 "
        "50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"
    )
    chart = control_chart(np.array(data.split(), dtype=float), centre=50.0, sigma=2.0539)
    assert chart.ewma == pytest.approx(np.array(printed.split(), dtype=float), abs=0.0051)
    assert chart.ewma_high[-1] == pytest.approx(52.5884, abs=1e-3)
    assert chart.ewma_low[-1] == pytest.approx(47.4115, abs=1e-3)
    assert chart.signals == ()


def test_the_individuals_chart_of_the_handbook():
    # 6.3.2.2: flow rates; mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041.
    flow = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    sigma = sigma_of_moving_ranges(flow)
    assert sigma * 1.128 == pytest.approx(1.8778, abs=5e-5)
    chart = control_chart(flow, centre=float(flow.mean()), sigma=sigma)
    assert chart.centre == pytest.approx(50.81)
    assert chart.high == pytest.approx(55.8041, abs=1e-4)
    assert chart.low == pytest.approx(45.8159, abs=1e-4)
