import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag, Samples
from exposure.dose import dose
from exposure.segments import default_max_gap_s
from ingest.summaries import summarise

MINUTE_MS = 60_000
START_MS = 29_666_666 * MINUTE_MS


def samples(offsets_s: list[float], uvi: list[float], flags: list[int] | None = None) -> Samples:
    return Samples(
        START_MS + np.array([round(offset * 1000) for offset in offsets_s], np.int64),
        np.array(uvi, np.float64),
        np.full(len(uvi), 0.1),
        np.array(flags or [0] * len(uvi), np.uint32),
    )


def test_a_minute_holds_its_extremes_mean_and_count() -> None:
    minutes = summarise(samples([0, 20, 40, 60], [1, 3, 2, 5]), START_MS, START_MS + MINUTE_MS)
    assert minutes.n.tolist() == [3]
    assert (minutes.min_uvi[0], minutes.mean_uvi[0], minutes.max_uvi[0]) == (1, 2, 3)
    assert minutes.u_uvi[0] == pytest.approx(0.1)
    assert minutes.covered_ms.tolist() == [60_000]


def test_a_minute_without_readings_is_absent_not_zero() -> None:
    minutes = summarise(samples([0, 20, 40, 200, 220], [1, 1, 1, 1, 1]), START_MS, START_MS + 5 * MINUTE_MS)
    assert (minutes.minute - START_MS // MINUTE_MS).tolist() == [0, 3]


def test_a_minute_of_samples_without_value_is_counted_and_flagged_and_has_no_uvi() -> None:
    minutes = summarise(
        samples([0, 30], [np.nan, np.nan], [Flag.MISSING, Flag.MISSING]), START_MS, START_MS + MINUTE_MS
    )
    assert minutes.n.tolist() == [2]
    assert np.isnan(minutes.mean_uvi[0])
    assert minutes.flags[0] == Flag.MISSING
    assert (minutes.covered_ms[0], minutes.dose_uvi_h[0]) == (0, 0)


@given(st.floats(0.5, 280), st.lists(st.floats(0, 12), min_size=2, max_size=120))
def test_the_minutes_doses_and_times_add_up_to_those_of_the_whole(step_s: float, uvi: list[float]) -> None:
    series = samples([index * step_s for index in range(len(uvi))], uvi)
    end_ms = int(series.utc_ms[-1]) // MINUTE_MS * MINUTE_MS + MINUTE_MS
    minutes = summarise(series, START_MS, end_ms)
    whole = dose(series, START_MS, end_ms, default_max_gap_s(step_s))
    assert minutes.dose_uvi_h.sum() == pytest.approx(whole.uvi_h, abs=1e-9)
    assert minutes.covered_ms.sum() == pytest.approx(whole.seconds_seen * 1000, abs=len(minutes))


def test_a_slow_boards_line_counts_in_the_minutes_that_it_crosses() -> None:
    minutes = summarise(samples([0, 150, 300], [2, 2, 2]), START_MS, START_MS + 6 * MINUTE_MS)
    assert (minutes.minute - START_MS // MINUTE_MS).tolist() == [0, 1, 2, 3, 4, 5]
    assert minutes.n.tolist() == [1, 0, 1, 0, 0, 1]
    assert minutes.covered_ms.tolist() == [60_000] * 5 + [0]
    assert minutes.dose_uvi_h.sum() == pytest.approx(2 * 300 / 3600)
    assert np.isnan(minutes.mean_uvi[1])
