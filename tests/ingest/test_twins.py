"""Two spots under one lamp."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from calibrate.spot_check import MovedOfTwo
from firmware_host.clock import Moment
from ingest.config import Config, parse_config
from ingest.store.minutes import MinuteSummaries
from ingest.store.store import Store
from ingest.twins import DAY_MS, twins

START_MS = 1_770_000_000_000 // DAY_MS * DAY_MS
NOW_MS = START_MS + 14 * DAY_MS
SPOT = """\
[spot.{key}]
label = "{key}"
enclosure = "garden"
lamp = "{lamp}"
board = "stone"
sensor = "{sensor}"
zone = 3
"""
CONFIG = """\
[bridge]
site = "test"
name = "room"
time_zone = "UTC"
[board.stone]
identity = "stone-1"
label = "Stone"
[enclosure.garden]
label = "Garden"
[lamp.tube]
kind = "t5"
installed = 2025-02-08
distance_cm = 38.0
[lamp.other]
kind = "t5"
installed = 2025-02-08
distance_cm = 38.0
"""


@pytest.fixture
def config(tmp_path: Path) -> Config:
    spots = [("slate", "tube", "a"), ("crevice", "tube", "b"), ("fern", "other", "c")]
    text = CONFIG + "".join(SPOT.format(key=key, lamp=lamp, sensor=sensor) for key, lamp, sensor in spots)
    return parse_config(text, file=tmp_path / "baskline.toml")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "room.db") as store:
        store.begin_run(Moment(0, START_MS, True))
        yield store


def lit_day(store: Store, spot: str, from_ms: int, uvi: float) -> None:
    """Let the spot have a day with ten lit hours."""
    minute = from_ms // 60_000 + np.arange(1440)
    mean = np.where((np.arange(1440) > 480) & (np.arange(1440) <= 1080), uvi, 0.0)
    same = np.ones(1440)
    store.minutes.replace(
        spot,
        int(minute[0]),
        int(minute[-1]) + 1,
        MinuteSummaries(
            minute,
            np.full(1440, 60),
            np.full(1440, 60_000),
            mean,
            mean,
            mean,
            0.1 * same,
            np.zeros(1440, np.uint32),
            mean / 60,
        ),
    )


@pytest.mark.parametrize(
    ("slate", "crevice", "moved"),
    [
        (3.0, 1.0, MovedOfTwo.NOTHING),
        (2.4, 0.8, MovedOfTwo.LIGHT),
        (2.4, 1.0, MovedOfTwo.FIRST),
        (3.0, 0.8, MovedOfTwo.SECOND),
    ],
)
def test_a_lamp_is_told_from_a_sensor(
    store: Store, config: Config, slate: float, crevice: float, moved: MovedOfTwo
) -> None:
    for spot, before, after in (("slate", 3.0, slate), ("crevice", 1.0, crevice), ("fern", 2.0, 2.0)):
        lit_day(store, spot, START_MS, before)
        lit_day(store, spot, NOW_MS - DAY_MS, after)
    (twin,) = twins(store, config, "slate", START_MS, NOW_MS)
    assert (twin.spot, twin.moved) == ("crevice", moved)


def test_days_of_which_too_little_was_seen_or_too_close_together_say_nothing(
    store: Store, config: Config
) -> None:
    lit_day(store, "slate", START_MS, 3.0)
    assert list(twins(store, config, "slate", START_MS, NOW_MS)) == []
    lit_day(store, "crevice", START_MS, 1.0)
    assert list(twins(store, config, "slate", START_MS, START_MS + DAY_MS)) == []
