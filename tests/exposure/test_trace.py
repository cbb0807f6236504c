import numpy as np

from calibrate.samples import Flag, Samples
from exposure.trace import trace

START_MS = 1_780_000_000_000 // 60_000 * 60_000


def samples(offsets_s: list[int], uvi: list[float], flags: list[int] | None = None) -> Samples:
    return Samples(
        START_MS + np.array(offsets_s, np.int64) * 1000,
        np.array(uvi, np.float64),
        np.full(len(uvi), 0.1),
        np.array(flags or [0] * len(uvi), np.uint32),
    )


def test_a_bin_is_drawn_as_its_mean_and_the_doubt_is_not_averaged_away() -> None:
    drawn = trace(samples([0, 20, 40, 60], [1.0, 2.0, 3.0, 4.0]), bin_ms=60_000, max_gap_ms=90_000)
    assert drawn.uvi.tolist() == [2.0, 4.0]
    np.testing.assert_allclose(drawn.upper_uvi - drawn.uvi, 0.2)
    assert drawn.utc_ms.tolist() == [START_MS + 20_000, START_MS + 60_000]


def test_a_silence_starts_a_new_segment_and_is_not_bridged() -> None:
    drawn = trace(samples([0, 60, 600, 660], [1.0, 1.0, 1.0, 1.0]), bin_ms=60_000, max_gap_ms=90_000)
    assert drawn.segment.tolist() == [0, 0, 1, 1]


def test_samples_without_a_value_are_not_drawn_and_flagged_ones_are_drawn_as_doubtful() -> None:
    drawn = trace(
        samples([0, 60, 120], [1.0, np.nan, 3.0], [0, Flag.MISSING, Flag.ABOVE_RANGE]),
        bin_ms=60_000,
        max_gap_ms=150_000,
    )
    assert drawn.uvi.tolist() == [1.0, 3.0]
    assert drawn.doubtful.tolist() == [False, True]


def test_the_interval_never_reaches_below_zero() -> None:
    assert trace(samples([0], [0.05]), bin_ms=60_000, max_gap_ms=90_000).lower_uvi.tolist() == [0.0]


def test_no_samples_draw_nothing() -> None:
    assert len(trace(samples([], []), bin_ms=60_000, max_gap_ms=90_000)) == 0
