"""Readings may wait a moment to be judged together, but an alarm never waits for it."""

from pathlib import Path

import pytest

from exposure.events import EventKind
from tests.ingest.rig import CONFIG, Board, Rig, config

AT_ONCE = CONFIG + "rules = { over_hold_s = 0 }\n"


def step_until_over(rig: Rig, seconds: float) -> float:
    """Return after how many seconds the event over the ceiling is in the store."""
    began_ms = rig.now_ms
    while not [event for event in rig.store.events.open() if event.kind is EventKind.OVER_CEILING]:
        rig.run(0.02, step_ms=20)
        assert rig.now_ms - began_ms < 1000 * seconds
    return (rig.now_ms - began_ms) / 1000


@pytest.mark.parametrize(("text", "hold_s"), [(CONFIG, 60.0), (AT_ONCE, 0.0)])
@pytest.mark.parametrize("after_s", [10.0, 10.37, 10.91])
def test_the_alarm_comes_with_the_very_reading_that_ends_its_hold(
    tmp_path: Path, text: str, hold_s: float, after_s: float
) -> None:
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=100), settings=config(text))
    rig.start()
    rig.plug("rock-1")
    rig.run(after_s, step_ms=20)
    rig.boards["rock-1"].uvi = 5.0
    assert step_until_over(rig, 70) <= hold_s + 0.1 + 0.06  # the next reading, and a step or two
    rig.finish()


def test_what_is_told_of_a_spot_is_its_newest_reading(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=100))
    rig.start()
    rig.plug("rock-1")
    rig.run(30.55, step_ms=10)
    rig.bridge.commit()
    now_ms = rig.bridge.now_utc_ms(rig.clock.moment())
    told = rig.bridge.spots["ledge"].state(now_ms, ())
    assert told.at_ms is not None
    assert now_ms - told.at_ms <= 110
    rig.finish()
