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
    """Watch an invented room for one accelerated day.

    Simulated boards speak through real pseudo-terminals; all after that is what `baskline run` does. A plant
    shades a spot, a lamp goes too high, a board is unplugged. Ends with each spot's day in words and as a
    chart. The store also has the eight weeks before, for `baskline week` and `baskline lamps`.

    \b
    Examples:
      baskline demo
      baskline demo --seed 7 --folder another-demo
    """
    from baskline.demo import run_demo

    run_demo(folder, seed=seed, broker_config=config if config.exists() else None)
