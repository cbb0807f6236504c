import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Samples
from exposure.dose import dose, seen_until
from exposure.segments import segments

T0_MS = 1_780_000_000_000


@given(
    st.lists(st.tuples(st.integers(100, 60_000), st.floats(0, 12)), min_size=2, max_size=60),
    st.lists(st.integers(-100_000, 4_000_000), min_size=1, max_size=10),
)
def test_what_was_seen_until_a_moment_is_the_dose_up_to_it(
    steps: list[tuple[int, float]], moments: list[int]
) -> None:
    utc_ms = T0_MS + np.cumsum([step for step, _ in steps])
    uvi = np.array([level for _, level in steps])
    series = Samples(utc_ms, uvi, np.full(len(uvi), 0.1), np.zeros(len(uvi), np.uint32))
    start_ms, end_ms = int(utc_ms[0]), int(utc_ms[-1])
    at_ms = T0_MS + np.array(moments, np.int64)

    uvi_h, seconds = seen_until(segments(series, start_ms, end_ms, 30.0), at_ms)

    for moment_ms, got_uvi_h, got_s in zip(at_ms.tolist(), uvi_h, seconds, strict=True):
        if moment_ms <= start_ms:
            assert (got_uvi_h, got_s) == (0.0, 0.0)
        else:
            expected = dose(series, start_ms, min(moment_ms, end_ms), 30.0)
            assert got_uvi_h == pytest.approx(expected.uvi_h, abs=1e-9)
            assert got_s == pytest.approx(expected.seconds_seen, abs=1e-6)


def test_of_nothing_nothing_was_seen() -> None:
    none = Samples(np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0, np.uint32))
    uvi_h, seconds = seen_until(segments(none, T0_MS, T0_MS + 1000, 30.0), np.array([T0_MS + 500]))
    assert (uvi_h.tolist(), seconds.tolist()) == ([0.0], [0.0])
