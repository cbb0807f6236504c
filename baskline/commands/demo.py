"""`baskline demo`: the main job on an invented room, with no hardware."""

from pathlib import Path
from typing import Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG

USUAL_PORT = 8765  # as the page's own, which is not loaded for help


def demo(
    live: Annotated[
        bool, typer.Option("--live", help="In real time and with the page, until Ctrl-C.")
    ] = False,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--folder",
            help="Where the demo keeps its files; it replaces only its own.  [default: demo, or demo-live]",
            show_default=False,
        ),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number gives another day's noise.")] = 1,
    config: Annotated[
        Path,
        typer.Option(
            "--config",
            "-c",
            help="If this file is there and has an [mqtt] table, that broker is told of the accelerated day.",
        ),
    ] = DEFAULT_CONFIG,
    port: Annotated[
        int, typer.Option("--port", min=1, max=65535, help="Of --live: the page's port on this computer.")
    ] = USUAL_PORT,
    broker: Annotated[
        str | None,
        typer.Option("--broker", metavar="HOST[:PORT]", help="Of --live: a broker that is to be told."),
    ] = None,
) -> None:
    """Watch an invented room for one accelerated day, or live.

    Simulated boards speak through real pseudo-terminals; all after that is what `baskline run` does. A plant
    shades a spot, a lamp goes too high, a board is unplugged. Ends with each spot's day in words and as a
    chart. The store also has the eight weeks before, for `baskline week` and `baskline lamps`.

    With --live the same happens in real time, a thing each two minutes, to be looked at in the browser and
    from other terminals while it does.

    \b
    Examples:
      baskline demo
      baskline demo --seed 7 --folder another-demo
      baskline demo --live
      baskline demo --live --broker localhost
    """
    if live:
        from baskline.live_demo import run_live

        run_live(folder or Path("demo-live"), seed=seed, port=port, broker=broker)
        return
    from baskline.demo import run_demo

    run_demo(folder or Path("demo"), seed=seed, broker_config=config if config.exists() else None)
