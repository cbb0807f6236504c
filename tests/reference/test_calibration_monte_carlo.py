"""The uncertainty of a converted reading against propagation of distributions.

JCGM 101:2008, Supplement 1 to the GUM, section 7: draw every input from its distribution, push each draw
through the model itself, and take the standard deviation of what comes out.
"""

from datetime import date

import numpy as np
import pytest

from calibrate.calibration import Calibration, Channel, Temperature, Uncertainty
from calibrate.models import CurveModel, LineModel, PowerModel

TRIALS = 200_000
ONE_CHANNEL = ("uva_counts",)

CASES = {
    "proportional": (LineModel(ONE_CHANNEL, (20.0,), (0.005,)), [[0.25, 0], [0, 1e-9]], [420.0]),
    "line": (
        LineModel(ONE_CHANNEL, (20.0,), (0.005,), 0.1),
        [[0.25, 0, 0], [0, 1e-9, -2e-7], [0, -2e-7, 1e-4]],
        [420.0],
    ),
    "power": (
        PowerModel(ONE_CHANNEL, (20.0,), 0.004, 1.05, 10.0),
        [[0.25, 0, 0], [0, 1e-9, -1e-7], [0, -1e-7, 2e-5]],
        [620.0],
    ),
    "two channels": (
        LineModel(("uva_counts", "comp_counts"), (20.0, 5.0), (0.005, -0.002)),
        np.diag([0.25, 0.25, 1e-9, 1e-9]).tolist(),
        [620.0, 100.0],
    ),
}


def calibration_of(model, covariance):
    return Calibration(
        lamp_kind="t5",
        sensor_kind="guva-s12sd",
        model=model,
        channels=tuple(Channel(name, noise=2.0) for name in model.channels),
        uvi_range=(0.0, 10.0),
        uncertainty=Uncertainty(
            tuple(map(tuple, covariance)),
            fit_widening=1.3,
            reference_relative=0.03,
            reference_uvi=0.02,
            spectral_relative=0.03,
            other_relative=0.01,
            other_uvi=0.01,
        ),
        made_on=date(2026, 1, 1),
        temperature=Temperature("temperature_c", 25.0, (10.0, 45.0), 0.002, 0.001, 0.5),
    )


def drawn_uvi(calibration, levels, degrees_c, rng):
    """Return UVI (n,), every input drawn anew, each draw through the model with its own parameters."""
    model, parts, temperature = calibration.model, calibration.uncertainty, calibration.temperature
    k = len(model.channels)
    covariance = np.array(parts.covariance) * parts.fit_widening**2
    parameters = rng.multivariate_normal([*model.dark, *model.shape], covariance, size=TRIALS)
    coefficient = rng.normal(temperature.coefficient_per_c, temperature.u_coefficient_per_c, TRIALS)
    warmer_c = rng.normal(degrees_c, temperature.u_temperature_c, TRIALS) - temperature.reference_c
    raw = np.array(levels)[:, np.newaxis] + 2.0 * rng.standard_normal((k, TRIALS))
    net = (raw - parameters[:, :k].T) / (1 + coefficient * warmer_c)
    shape = parameters[:, k:].T
    if isinstance(model, PowerModel):
        uvi = shape[0] * net[0] ** shape[1]
    else:
        uvi = (shape[:k] * net).sum(axis=0) + (0.0 if model.intercept is None else shape[k])
    relative = [parts.reference_relative, parts.spectral_relative, parts.other_relative]
    uvi = uvi * (1 + sum(rng.normal(0, u, TRIALS) for u in relative))
    return uvi + sum(rng.normal(0, u, TRIALS) for u in (parts.reference_uvi, parts.other_uvi))


@pytest.mark.parametrize("degrees_c", [15.0, 25.0, 40.0])
@pytest.mark.parametrize("case", CASES)
def test_first_order_propagation_agrees_with_propagation_of_distributions(case, degrees_c):
    model, covariance, levels = CASES[case]
    calibration = calibration_of(model, covariance)
    columns = {name: np.array([level]) for name, level in zip(model.channels, levels, strict=True)}
    converted = calibration.convert({**columns, "temperature_c": np.array([degrees_c])})
    uvi = drawn_uvi(calibration, levels, degrees_c, np.random.default_rng(101))
    # 200,000 draws know a standard deviation to 0.16 %
    assert converted.flags[0] == 0
    assert converted.u_uvi[0] == pytest.approx(uvi.std(), rel=0.01)
    assert converted.uvi[0] == pytest.approx(uvi.mean(), rel=0.003)


def test_a_curves_derivatives_are_those_of_the_curve():
    # The curve's own slopes enter the same propagation: against central differences instead.
    model = CurveModel(ONE_CHANNEL, (20.0,), (200.0, 500.0, 900.0), (0.5, 1.4, 3.0, 5.5))
    net, step = np.array([[-10.0, 50.0, 199.0, 350.0, 700.0, 899.0, 1000.0]]), 1e-4
    slope = (model.evaluate(net + step).uvi - model.evaluate(net - step).uvi) / (2 * step)
    assert model.evaluate(net).by_net[0] == pytest.approx(slope, rel=1e-6)
    for i, height in enumerate(model.heights):
        more = CurveModel(
            model.channels,
            model.dark,
            model.knots,
            (*model.heights[:i], height + 1e-6, *model.heights[i + 1 :]),
        )
        by_height = (more.evaluate(net).uvi - model.evaluate(net).uvi) / 1e-6
        assert model.evaluate(net).by_shape[i] == pytest.approx(by_height, abs=1e-6)
