"""A day taken in parts is the day taken whole, wherever it is cut."""

from collections.abc import Generator
from dataclasses import asdict
from datetime import date
from typing import Any, TypeVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.samples import Flag, Samples
from exposure.bands import Band
from exposure.day_parts import day_in_parts
from exposure.days import day_bounds
from exposure.lamp_days import lamp_day
from exposure.profile import DaySeen, day_profile

BOUNDS = day_bounds(date(2026, 3, 1), "UTC")
BAND = Band(1.0, 2.6, 4.0)
MINUTE_MS = 60_000
_Returned = TypeVar("_Returned")


def returned(steps: Generator[int, None, _Returned]) -> _Returned:
    while True:
        try:
            next(steps)
        except StopIteration as done:
            return done.value  # type: ignore[no-any-return]


def a_day(seed: int, cadence_ms: int, n_flickers: int, n_gaps: int) -> Samples:
    """A lamp that warms up, flickers, and of which some is not seen or has no value."""
    rng = np.random.default_rng(seed)
    at = np.arange(BOUNDS.start_ms - 5 * MINUTE_MS, BOUNDS.end_ms + 5 * MINUTE_MS, cadence_ms)
    at = at + rng.integers(0, max(1, cadence_ms // 3), len(at))
    hours = (at - BOUNDS.start_ms) / 3_600_000
    on, off = rng.uniform(-2, 12), rng.uniform(10, 26)
    uvi = np.where((hours >= on) & (hours < off), 3.0 * np.minimum(1.0, 0.3 + (hours - on) / 0.7), 0.0)
    for begin in rng.uniform(0, 24, n_flickers):
        uvi[(hours >= begin) & (hours < begin + rng.choice([0.01, 0.03, 0.08, 0.2]))] = rng.choice(
            [0, 0.06, 2]
        )
    uvi = np.maximum(uvi + rng.normal(0, 0.02, len(at)), 0.0)
    flags = np.where(rng.random(len(at)) < 0.01, int(Flag.ABOVE_RANGE | Flag.TEMPERATURE), 0).astype(
        np.uint32
    )
    missing = rng.random(len(at)) < 0.02
    flags[missing] |= np.uint32(Flag.MISSING)
    uvi[missing] = np.nan
    u_uvi = 0.02 + 0.1 * uvi
    seen = np.ones(len(at), np.bool_)
    for begin in rng.uniform(0, 24, n_gaps):
        seen &= (hours < begin) | (hours > begin + rng.choice([0.02, 0.2, 3.0]))
    return Samples(at[seen], uvi[seen], u_uvi[seen], flags[seen])


def cut_at(samples: Samples, cuts: list[float]) -> list[Samples]:
    ends = sorted(round(len(samples) * cut) for cut in cuts)
    return [
        Samples(samples.utc_ms[a:b], samples.uvi[a:b], samples.u_uvi[a:b], samples.flags[a:b])
        for a, b in zip([0, *ends], [*ends, len(samples)], strict=True)
    ]


def near(whole: dict[str, Any]) -> dict[str, Any]:
    """Sums are added up in another order."""
    return {
        key: pytest.approx(value, rel=1e-11, abs=1e-12)
        if isinstance(value, float) or key == "flag_hours"
        else value
        for key, value in whole.items()
    }


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.sampled_from([7_000, 20_000, 61_000, 290_000]),
    st.integers(0, 12),
    st.integers(0, 5),
    st.lists(st.floats(0, 1), max_size=30),
)
def test_a_day_in_parts_is_the_day_as_a_whole(
    seed: int, cadence_ms: int, n_flickers: int, n_gaps: int, cuts: list[float]
) -> None:
    samples = a_day(seed, cadence_ms, n_flickers, n_gaps)
    parts = cut_at(samples, cuts)
    made = returned(day_in_parts(lambda: parts, BAND, BOUNDS))
    if len(samples.between(BOUNDS.start_ms, BOUNDS.end_ms)) == 0:
        assert made is None
        return
    assert made is not None
    assert asdict(made[0]) == near(asdict(day_profile(samples, BAND, BOUNDS)))
    assert asdict(made[1]) == near(asdict(lamp_day(samples, BOUNDS)))


def test_parts_of_one_sample_each_give_the_same_day() -> None:
    samples = a_day(3, 61_000, 8, 2)
    parts = cut_at(samples, [n / len(samples) for n in range(len(samples))])
    made = returned(day_in_parts(lambda: parts, BAND, BOUNDS))
    assert made is not None
    assert asdict(made[0]) == near(asdict(day_profile(samples, BAND, BOUNDS)))
    assert asdict(made[1]) == near(asdict(lamp_day(samples, BOUNDS)))


def test_a_day_of_which_nothing_was_seen_is_none() -> None:
    assert returned(day_in_parts(list, BAND, BOUNDS)) is None


def test_asking_for_the_profile_twice_gives_the_same() -> None:
    seen = DaySeen(BAND, BOUNDS, 180.0)
    seen.add(a_day(3, 61_000, 8, 2))
    assert seen.profile(None) == seen.profile(None)
