"""`baskline demo`: the main job on an invented room, with no hardware."""

from pathlib import Path
from typing import Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG


def demo(
    folder: Annotated[
        Path, typer.Option("--folder", help="Where the demo keeps its files; it replaces only its own.")
    ] = Path("demo"),
    seed: Annotated[int, typer.Option("--seed", help="Another number gives another day's noise.")] = 1,
    config: Annotated[
        Path,
        typer.Option(
            "--config",
            "-c",
            help="If this file is there and has an [mqtt] table, the demo publishes to that broker.",
        ),
    ] = DEFAULT_CONFIG,
) -> None:
    """Watch an invented room for one accelerated day: boards, events as they come, a chart of the day.

    Simulated boards speak through real pseudo-terminals; all after that is what `baskline run` does. A lamp
    goes too high, a plant shades a spot, a board is unplugged.

    Example: baskline demo --seed 7
    """
    from baskline.demo import run_demo

    run_demo(folder, seed=seed, broker_config=config if config.exists() else None)
