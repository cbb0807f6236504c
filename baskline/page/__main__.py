"""The page as `baskline run` starts it: a process of its own that ends when its standard input does."""

import logging
import os
import signal
import sys
import threading
from pathlib import Path

from baskline.page.addresses import address_of
from baskline.page.serving import listening, page_of, serve, server
from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.logs import log_to_stdout


def main(config_file: Path) -> int:
    """Serve until the daemon's end, however that comes."""
    log_to_stdout()
    log = logging.getLogger("baskline.page")
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    try:
        config = load_config(config_file)
        page = page_of(config)
        served = server(config, config.bridge.store, SystemClock(), may_change=True)
        socket = listening(page)
    except KeeperError as error:
        log.warning(error.what, extra={"where": error.where, "do": error.remedy})
        return 1

    def end_with_the_daemon() -> None:
        # Not through `sys.stdin`, whose lock this thread would hold when the process ends otherwise.
        while os.read(0, 1):
            pass
        served.handle_exit(signal.SIGTERM, None)  # which also ends what is sent live

    threading.Thread(target=end_with_the_daemon, daemon=True).start()
    log.info("page ready", extra={"address": address_of(page)})
    serve(served, socket)
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
