"""Calibrations at random, for property tests."""

from datetime import date
from itertools import accumulate

import numpy as np
from hypothesis import strategies as st

from calibrate.calibration import Calibration, Channel, LampFactor, Temperature, Uncertainty
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.models import CurveModel, LineModel, PowerModel, parameter_names
from calibrate.origin import Origin, Pair

numbers = st.floats(-1e6, 1e6, allow_subnormal=False)
shares = st.floats(0, 0.5, allow_subnormal=False)


@st.composite
def ranges(draw, low=-1e4):
    start = draw(st.floats(low, 1e4))
    return start, start + draw(st.floats(0.5, 1e5))


positive = st.floats(1e-3, 1e3)


@st.composite
def models(draw, names):
    dark = tuple(draw(st.floats(-100, 100)) for _ in names)
    kinds = ["line"] if len(names) > 1 else ["line", "power", "curve"]
    match draw(st.sampled_from(kinds)):
        case "line":
            slope = tuple(draw(st.floats(-1, 1, allow_subnormal=False)) for _ in names)
            return LineModel(names, dark, slope, draw(st.none() | st.floats(-1, 1)))
        case "power":
            return PowerModel(names, dark, draw(positive), draw(st.floats(0.2, 3)), draw(positive))
        case _:
            steps = draw(st.lists(positive, min_size=1, max_size=5))
            rises = draw(st.lists(st.floats(0, 5), min_size=len(steps) + 1, max_size=len(steps) + 1))
            return CurveModel(names, dark, tuple(accumulate(steps)), tuple(accumulate(rises)))


def origins(n_channels):
    levels = st.tuples(*[numbers] * n_channels)
    return st.builds(
        Origin,
        st.text(max_size=8),
        st.lists(st.builds(Pair, levels, shares, shares, st.none() | numbers), max_size=3).map(tuple),
        st.lists(levels, max_size=2).map(tuple),
        st.integers(0, 9),
        st.none() | shares,
        st.lists(st.text(max_size=9), max_size=2).map(tuple),
    )


@st.composite
def calibrations(draw):
    names = tuple(
        draw(
            st.lists(
                st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True), min_size=1, max_size=4, unique=True
            )
        )
    )
    model = draw(models(names))
    size = len(parameter_names(model))
    factors = np.array(
        draw(
            st.lists(st.floats(-0.1, 0.1, allow_subnormal=False), min_size=size * size, max_size=size * size)
        )
    ).reshape(size, size)
    covariance = tuple(map(tuple, (factors @ factors.T).tolist()))
    kind, *others = draw(st.lists(st.sampled_from(sorted(LAMP_KINDS)), min_size=1, max_size=4, unique=True))
    return Calibration(
        lamp_kind=kind,
        sensor_kind=draw(st.text(st.characters(codec="utf-8"), max_size=12)),
        model=model,
        channels=tuple(
            Channel(name, draw(st.floats(0, 100)), draw(st.none() | ranges()), draw(st.none() | numbers))
            for name in names
        ),
        uvi_range=draw(ranges(0)),
        uncertainty=Uncertainty(covariance, draw(st.floats(1, 5)), *(draw(shares) for _ in range(7))),
        made_on=draw(st.dates(date(2000, 1, 1))),
        valid_for_days=draw(st.integers(1, 10_000)),
        temperature=draw(
            st.none()
            | st.builds(
                Temperature,
                st.just("9th_c"),
                st.floats(-20, 60),
                ranges(),
                st.floats(-0.05, 0.05),
                shares,
                shares,
            )
        ),
        lamp_factors=tuple(
            LampFactor(other, draw(st.floats(0.01, 10)), draw(shares), draw(st.text(max_size=5)))
            for other in others
        ),
        name=draw(st.text(st.characters(codec="utf-8"), max_size=12)),
        notes=draw(st.text(st.characters(codec="utf-8"), max_size=30)),
        origin=draw(st.none() | origins(len(names))),
    )
