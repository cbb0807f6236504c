"""Simulated boards on pseudo-terminals, for commands that look at ports."""

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from baskline.scenario import build
from exposure.days import HOUR_MS
from firmware_host.clock import SystemClock
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard

MODEL = BoardModel("rock-1", {"uva_counts": "counts", "temperature_c": "C"}, cadence_ms=200, ring=600)


def rock(model: BoardModel = MODEL) -> SimulatedBoard:
    """The board of `making.room`, under a steady light of UVI 2."""
    levels = {"uva_counts": 2000.0, "temperature_c": 31.0}
    return SimulatedBoard(model, lambda _: {name: levels.get(name, 1.0) for name in model.units}, seed=1)


def demo_boards(folder: Path) -> list[SimulatedBoard]:
    """The boards of the demo at noon, only quicker; `folder` gets the demo's files."""
    scenario = build(folder)
    clock = SystemClock()
    noon_ms = scenario.day.start_ms + 12 * HOUR_MS
    return [
        replace(board, model=replace(board.model, cadence_ms=500)).simulated(
            utc_offset_ms=noon_ms - clock.moment().mono_ms, seed=number
        )
        for number, board in enumerate(scenario.boards)
    ]


@contextlib.contextmanager
def plugged(folder: Path, boards: Sequence[SimulatedBoard]) -> Iterator[PtyBench]:
    """Let the boards speak at real speed on ports in `folder`."""
    folder.mkdir(exist_ok=True)
    clock = SystemClock()
    with PtyBench(folder) as bench:
        for board in boards:
            bench.add(board, clock.moment().mono_ms)
        with bench.running(clock):
            yield bench
