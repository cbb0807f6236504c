from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag, Samples
from exposure.dose import dose
from ingest.today import Today
from tests.ingest.rig import HOUR_MS, NOON_MS

MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS


def samples(utc_ms: list[int], uvi: float | list[float], flags: int = 0) -> Samples:
    n = len(utc_ms)
    values = np.full(n, uvi, np.float64) if isinstance(uvi, int | float) else np.array(uvi, np.float64)
    return Samples(np.array(utc_ms, np.int64), values, np.full(n, 0.1), np.full(n, flags, np.uint32))


def seconds(first_s: int, last_s: int, step_s: int = 1) -> list[int]:
    return [NOON_MS + 1000 * at for at in range(first_s, last_s + 1, step_s)]


def test_nothing_seen_is_no_dose_and_not_a_dose_of_zero() -> None:
    today = Today("UTC", 60)
    assert today.dose_uvi_h(NOON_MS) is None
    assert today.coverage(NOON_MS) == 0


def test_the_dose_counts_up_as_samples_come() -> None:
    today = Today("UTC", 60)
    today.add(samples(seconds(0, 1800), 2.0))
    assert today.dose_uvi_h(NOON_MS + 1_800_000) == pytest.approx(1.0)
    today.add(samples(seconds(1801, 3600), 2.0))
    assert today.dose_uvi_h(NOON_MS + HOUR_MS) == pytest.approx(2.0)
    assert today.coverage(NOON_MS + HOUR_MS) == pytest.approx(1 / 13)


def test_over_a_gap_and_over_samples_without_value_nothing_is_counted() -> None:
    today = Today("UTC", 60)
    today.add(samples(seconds(0, 600), 2.0))
    today.add(samples(seconds(601, 1200), np.nan, Flag.SENSOR_FAULT))
    today.add(samples(seconds(1201, 1800), 2.0))
    assert today.dose_uvi_h(NOON_MS + 1_800_000) == pytest.approx(2.0 * 1199 / 3600)


def test_a_new_day_begins_with_its_own_part_of_the_line_across_midnight() -> None:
    today = Today("UTC", 60)
    night = [MIDNIGHT_MS + 1000 * at for at in range(-600, 1, 10)]
    today.add(samples(night[:-1], 3.0))
    assert today.dose_uvi_h(MIDNIGHT_MS - 5_000) == pytest.approx(3.0 * 590 / 3600)
    today.add(samples([MIDNIGHT_MS + 20_000], 3.0))
    assert today.dose_uvi_h(MIDNIGHT_MS + 20_000) == pytest.approx(3.0 * 20 / 3600)


def test_the_day_is_the_keepers() -> None:
    today = Today("Pacific/Auckland", 60)  # midnight there is noon here, in winter
    today.add(samples(seconds(-600, 600), 2.0))
    assert today.dose_uvi_h(NOON_MS + 600_000) == pytest.approx(2.0 * 600 / 3600)


@given(
    st.lists(st.floats(-0.1, 15), min_size=1, max_size=60),
    st.lists(st.integers(1, 20), min_size=1, max_size=60),
    st.lists(st.booleans(), min_size=60, max_size=60),
)
def test_the_dose_is_that_of_the_whole_however_it_came(
    uvi: list[float], sizes: list[int], asked: list[bool]
) -> None:
    utc_ms = seconds(0, 5 * (len(uvi) - 1), 5)
    today = Today("UTC", 60)
    at = 0
    for size, ask in zip(sizes, asked, strict=False):
        part = slice(at, at + size)
        if utc_ms[part]:
            today.add(samples(utc_ms[part], uvi[part]))
            if ask:
                today.dose_uvi_h(utc_ms[part][-1])
        at += size
    rest = slice(at, None)
    if utc_ms[rest]:
        today.add(samples(utc_ms[rest], uvi[rest]))
    whole = dose(samples(utc_ms, uvi), MIDNIGHT_MS, utc_ms[-1], 60)
    assert today.dose_uvi_h(utc_ms[-1]) == (None if len(uvi) == 1 else pytest.approx(whole.uvi_h, abs=1e-9))


def test_samples_that_nobody_asks_about_do_not_pile_up() -> None:
    today = Today("UTC", 60)
    for at_ms in seconds(0, 10_000):
        today.add(samples([at_ms], 2.0))
        assert len(today._waiting) <= 1_000
    assert today.dose_uvi_h(NOON_MS + 10_000_000) == pytest.approx(2.0 * 10_000 / 3600)


def test_the_day_says_when_it_began_also_where_the_clocks_change() -> None:
    today = Today("Europe/Vienna", 60.0)
    before = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)  # 01:30 there, an hour before the clocks go forward
    after = datetime(2026, 3, 29, 21, 30, tzinfo=UTC)  # 23:30 there
    for now in (before, after):
        began_ms = today.start_ms(round(now.timestamp() * 1000))
        assert datetime.fromtimestamp(began_ms / 1000, UTC) == datetime(2026, 3, 28, 23, tzinfo=UTC)
