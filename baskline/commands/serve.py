"""`baskline serve`: the page on a store, for looking only."""

import sys
from typing import Annotated

import typer

from baskline.commands.common import (
    DEFAULT_CONFIG,
    ConfigOption,
    StoreOption,
    read_config,
    store_of,
)


def serve(
    config: ConfigOption = DEFAULT_CONFIG,
    store: StoreOption = None,
    port: Annotated[
        int | None,
        typer.Option("--port", min=1, max=65535, help="Listen on this port instead of the configured one."),
    ] = None,
) -> None:
    """Show a store in the browser, without watching.

    The page reads the store and changes nothing, so it can show a copy, or the store of a running bridge. The
    page of `baskline run` is the same, and lets the keeper change things too. Runs until Ctrl-C or SIGTERM.

    \b
    Examples:
      baskline serve
      baskline serve --config demo/baskline.toml --port 8080
    """
    import logging

    from baskline.page.addresses import address_of
    from baskline.page.extra import need_libraries

    need_libraries()
    from baskline.page import serving
    from firmware_host.clock import SystemClock
    from ingest.logs import log_to_stdout

    configured = read_config(config)
    page = serving.page_of(configured)
    if port is not None:
        page = page.model_copy(update={"port": port})
    configured = configured.model_copy(update={"page": page})
    log_to_stdout()
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    served = serving.server(configured, store_of(configured, store), SystemClock(), may_change=False)
    socket = serving.listening(page)
    print(f"The page is at {address_of(page)} (Ctrl-C ends it)", file=sys.stderr)
    serving.serve(served, socket)
