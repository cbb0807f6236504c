"""Print a guided calibration on the invented room's fern crown, as a terminal shows it: for the README.

python -m tests.baskline.guided_session
"""

import io
import random
import re
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from rich.console import Console

from baskline.guided import Guided, Wish
from baskline.guided_talk import Talk
from baskline.scenario import build
from baskline.scenario.light import watched_spots
from baskline.scenario.setting import USUAL
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from ingest.config import load_config
from tests.baskline.guided_room import FastClock

METER_READS_TIMES = 1.04  # within the ± 10 per cent that its papers state
COLUMNS = 84


class FernCrown:
    """The sensor in the keeper's hand at some distance from the tube, in the room's early afternoon."""

    def __init__(self) -> None:
        (self._watched,) = watched_spots(seed=1)["wall-1"]
        self.distance_cm: float | None = None

    def levels(self, at_ms: float) -> Mapping[str, float]:
        """Return the channels at a time of the simulated board."""
        t_ms = np.array([USUAL.moment_ms(13) + int(at_ms) % 7_200_000])
        uvi = self.uvi(t_ms)
        degrees = 23.0 + 2.0 * uvi
        counts = self._watched.sensor.counts(t_ms, uvi, degrees)
        return {name: float(values[0]) for name, values in counts.items()} | {
            "temperature_c": round(float(degrees[0]), 1)
        }

    def uvi(self, t_ms: "np.ndarray[tuple[int], np.dtype[np.int64]]") -> "np.ndarray":
        """Return the true UVI; none where the sensor is covered."""
        if self.distance_cm is None:
            return np.zeros(len(t_ms))
        return replace(self._watched.light, distance_cm=self.distance_cm, shades=()).uvi_at(t_ms)

    def go_where(self, wanted_uvi: float) -> None:
        """Move to about where the light is as wanted, to the centimetre."""
        self.distance_cm = min(
            range(12, 120),
            key=lambda cm: abs(replace(self._watched.light, distance_cm=cm).steady_uvi - wanted_uvi),
        )


class Keeper(Talk):
    """Does what is asked for, and writes it down as the terminal would show it."""

    def __init__(self, fern: FernCrown, clock: FastClock) -> None:
        self.paper = io.StringIO()
        words = Console(
            file=self.paper,
            width=COLUMNS,
            force_terminal=True,
            color_system=None,
            markup=False,
            highlight=False,
        )
        super().__init__(words, clock, io.StringIO())
        self._fern = fern
        self._random = random.Random(2)

    def ask(self, question: str) -> str:
        """Answer as a person would."""
        answer = self._reply(question)
        self.paper.write(f"{question} {answer}".rstrip() + "\n")
        return answer

    def _reply(self, question: str) -> str:
        if "covered" in question:
            self._fern.distance_cm = None
        elif "minutes" in question:
            return "90"
        elif "hold still" in question:
            aim = re.findall(r"shows\s+about\s+(\d+\.\d)|That is enough", self.paper.getvalue())[-1]
            if not aim:
                return "done"
            self._fern.go_where(float(aim))
        elif "meter show" in question:
            true_uvi = float(self._fern.uvi(np.array([USUAL.moment_ms(13)]))[0])
            return f"{true_uvi * METER_READS_TIMES * (1 + self._random.gauss(0, 0.01)):.1f}"
        return ""


def session(folder: Path, *, speed: float = 20.0) -> str:
    """Return what the terminal shows from the first line to the last."""
    scenario = build(folder)
    ports = folder / "ports"
    ports.mkdir()
    with scenario.config_file.open("a", encoding="utf-8") as file:
        file.write(f'\n[serial]\nports = ["{ports}/board-*"]\n')
    clock, fern = FastClock(speed), FernCrown()
    board = BoardModel(
        "wall-1", {"uva_counts": "counts", "temperature_c": "C"}, cadence_ms=500, sensor="guva-s12sd"
    )
    keeper = Keeper(fern, clock)
    with PtyBench(ports) as bench:
        bench.add(SimulatedBoard(board, fern.levels, seed=1), clock.moment().mono_ms)
        with bench.running(clock):
            wish = Wish("fern", scenario.config_file, 20.0, resume=False)
            Guided(wish, load_config(scenario.config_file), clock, keeper).run()
    return keeper.paper.getvalue().replace(f"{folder}/", "")


if __name__ == "__main__":
    with TemporaryDirectory() as place:
        sys.stdout.write(f"$ baskline calibrate fern\n{session(Path(place))}")
