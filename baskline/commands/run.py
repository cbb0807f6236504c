"""`baskline run`: the daemon."""

import signal
import sys
from pathlib import Path
from typing import Annotated

import typer

from baskline.commands.common import DEFAULT_CONFIG, LAMP_CAUTION, ConfigOption, read_config


def run(
    config: ConfigOption = DEFAULT_CONFIG,
    capture: Annotated[
        Path | None,
        typer.Option(
            "--capture",
            metavar="FILE",
            readable=False,
            help="Also keep everything the boards say in a new file.",
        ),
    ] = None,
) -> None:
    """Watch: read the boards, keep every reading, tell the broker.

    Runs until Ctrl-C or SIGTERM. Log lines go to standard output: words on a terminal, one JSON object a line
    elsewhere.

    \b
    Examples:
      baskline run
      baskline run --capture may.capture
    """
    # One core is the daemon's share, and numpy's pool of threads would cost memory and win nothing.
    import os

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

    from firmware_host.clock import SystemClock
    from ingest.daemon import Daemon
    from ingest.logs import log_to_stdout

    configured = read_config(config)
    log_to_stdout()
    if not configured.bridge.store.exists():
        print(LAMP_CAUTION, file=sys.stderr)  # standard output is the log's
    daemon = Daemon(configured, SystemClock(), capture=capture)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: daemon.stop())
    daemon.run()
