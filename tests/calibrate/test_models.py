import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.models import CurveModel, LineModel, PowerModel, parameter_names
from tests.calibrate.strategies import models

one_channel = models(("uva_counts",))
nets = st.lists(st.floats(-50, 5e3), min_size=1, max_size=12).map(lambda values: np.array([values]))


def rebuilt(model, shape):
    if isinstance(model, LineModel):
        intercept = None if model.intercept is None else shape[-1]
        return LineModel(model.channels, model.dark, tuple(shape[: len(model.slope)]), intercept)
    if isinstance(model, PowerModel):
        return PowerModel(model.channels, model.dark, *shape, model.straight_below)
    return CurveModel(model.channels, model.dark, model.knots, tuple(shape))


@given(one_channel, nets)
def test_the_derivative_by_the_level_is_the_slope(model, net):
    step = 1e-4
    kinks = np.array([*getattr(model, "knots", ()), 0.0, getattr(model, "straight_below", 0.0)])
    near = (np.abs(net[0][:, np.newaxis] - kinks) < 2 * step).any(axis=1)
    up, down = model.evaluate(net + step).uvi, model.evaluate(net - step).uvi
    numeric = (up - down) / (2 * step)
    given_by = model.evaluate(net).by_net[0]
    scale = np.abs(up).max() * 1e-10 / step + 1e-9
    assert numeric[~near] == pytest.approx(given_by[~near], rel=1e-4, abs=10 * scale)


@given(one_channel, nets)
def test_the_derivative_by_each_parameter_is_the_slope(model, net):
    at = model.evaluate(net)
    for i, value in enumerate(model.shape):
        step = 1e-6 * max(abs(value), 1e-3)
        shape = list(model.shape)
        shape[i] = value + step
        try:
            up = rebuilt(model, shape).evaluate(net).uvi
        except ValueError:
            continue  # the next height bounds this one
        size = np.abs(at.uvi).max() + 1
        assert (up - at.uvi) / step == pytest.approx(at.by_shape[i], rel=1e-3, abs=1e-9 * size / step)


@given(models(("uva_counts",)).filter(lambda model: not isinstance(model, LineModel)), nets)
def test_a_power_law_and_a_curve_never_fall_and_pass_through_zero_at_dark(model, net):
    rising = np.sort(net, axis=1)
    uvi = model.evaluate(rising).uvi
    assert (np.diff(uvi) >= -1e-9 * np.abs(uvi).max()).all()
    assert model.evaluate(np.zeros((1, 1))).uvi[0] == pytest.approx(0, abs=1e-12)


def test_a_curve_whose_heights_lie_on_a_line_is_that_line():
    # The coefficients of a line are its values at the averages of neighbouring knots.
    curve = CurveModel(("a",), (0.0,), (10.0, 30.0), tuple(0.1 * x for x in (5.0, 20.0, 30.0)))
    net = np.array([[-3.0, 0.0, 4.0, 10.0, 17.0, 30.0, 45.0]])
    assert curve.evaluate(net).uvi == pytest.approx(0.1 * net[0])


def test_a_power_law_is_one_above_and_a_chord_below():
    model = PowerModel(("a",), (0.0,), 0.5, 2.0, 4.0)
    assert model.evaluate(np.array([[10.0, 2.0, 0.0, -2.0]])).uvi == pytest.approx([50, 4, 0, -4])


def test_parameters_are_named_dark_first():
    assert parameter_names(LineModel(("a", "b"), (1, 2), (3, 4), 5)) == (
        "dark.a",
        "dark.b",
        "slope.a",
        "slope.b",
        "intercept",
    )
    assert parameter_names(CurveModel(("a",), (0,), (1,), (1, 2))) == ("dark.a", "height.1", "height.2")


@pytest.mark.parametrize(
    "build",
    [
        lambda: LineModel(("a",), (0.0, 1.0), (1.0,)),
        lambda: PowerModel(("a",), (0.0,), -1.0, 1.0, 1.0),
        lambda: PowerModel(("a", "b"), (0.0, 0.0), 1.0, 1.0, 1.0),
        lambda: CurveModel(("a",), (0.0,), (2.0, 1.0), (0.0, 1.0, 2.0)),
        lambda: CurveModel(("a",), (0.0,), (1.0, 2.0), (0.0, 2.0, 1.0)),
        lambda: CurveModel(("a",), (0.0,), (1.0, 2.0), (0.0, 2.0)),
    ],
)
def test_a_model_that_makes_no_sense_is_refused(build):
    with pytest.raises(ValueError, match=r"need|must"):
        build()
