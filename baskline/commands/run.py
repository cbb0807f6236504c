"""`baskline run`: the daemon."""

import shutil
import signal
import sys
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline.caution import LAMP_CAUTION
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, read_config
from baskline.printing import folded

if TYPE_CHECKING:
    from firmware_host.clock import Clock
    from ingest.config import Config


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

    Runs until Ctrl-C or SIGTERM. The page is served where the configuration has a [page] table. Log lines go
    to standard output: words on a terminal, one JSON object a line elsewhere.

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
        columns = shutil.get_terminal_size().columns if sys.stderr.isatty() else sys.maxsize
        print(folded(LAMP_CAUTION, columns), file=sys.stderr)  # standard output is the log's
    clock = SystemClock()
    daemon = Daemon(configured, clock, capture=capture)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: daemon.stop())
    with _page(configured, config, clock):
        daemon.run()


def _page(configured: "Config", config_file: Path, clock: "Clock") -> AbstractContextManager[object]:
    """Return the page's process where a page is wanted and can be; without it the watch runs as ever."""
    if configured.page is None:
        return nullcontext()
    import logging

    from baskline.page.errors import PageError
    from baskline.page.extra import need_libraries
    from baskline.page.keeping import PageProcess

    try:
        need_libraries()
    except PageError as error:
        logging.getLogger("baskline.page").warning(
            error.what, extra={"where": error.where, "do": error.remedy}
        )
        return nullcontext()
    return PageProcess(config_file, clock)
