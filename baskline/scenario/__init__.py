"""An invented room for the demo and for tests: enclosures, lamps, boards and a day with three mishaps."""

from baskline.scenario.past import PAST_DAYS, give_past
from baskline.scenario.scenario import Doing, Happening, RoomBoard, Scenario, ScenarioError, build

__all__ = [
    "PAST_DAYS",
    "Doing",
    "Happening",
    "RoomBoard",
    "Scenario",
    "ScenarioError",
    "build",
    "give_past",
]
