"""An invented room for the demo and for tests: enclosures, lamps, boards and a day with three mishaps."""

from baskline.scenario.scenario import Doing, Happening, RoomBoard, Scenario, ScenarioError, build

__all__ = ["Doing", "Happening", "RoomBoard", "Scenario", "ScenarioError", "build"]
