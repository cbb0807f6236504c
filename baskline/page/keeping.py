"""The page beside the daemon: a process of its own, started again when it dies, ended with the daemon."""

import logging
import os
import subprocess
import sys
import threading
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from firmware_host.clock import Clock
from ingest.backoff import Backoff

log = logging.getLogger("baskline.page")

FEW_ARENAS: Final = {"MALLOC_ARENA_MAX": "2"}
"""For the page's environment: each of its threads would else keep some MB that it has done with."""

_END_WITHIN_S: Final = 5.0
# One that ran for so long was no false start.
_WELL_AFTER_MS: Final = 60_000


class PageProcess:
    """Keeps the page's process alive; the daemon itself loads nothing of the page."""

    def __init__(
        self, config_file: Path, clock: Clock, *, shortest_wait_s: float = 1.0, quiet: bool = False
    ) -> None:
        """`quiet`: what it logs goes nowhere."""
        # -P: what lies in the folder in which the daemon was started must not pass for a library.
        self._command = [sys.executable, "-P", "-m", "baskline.page", str(config_file.absolute())]
        self._output = subprocess.DEVNULL if quiet else None
        self._clock = clock
        self._backoff = Backoff("page", shortest_wait_s)
        self._ending = threading.Event()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._keep, name="page", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._lock:
            self._ending.set()
        process = self._process
        if process is not None:
            process.terminate()
            self._thread.join(_END_WITHIN_S)
            if self._thread.is_alive():
                process.kill()
        self._thread.join()

    def _keep(self) -> None:
        while not self._ending.is_set():
            began_ms = self._clock.moment().mono_ms
            try:
                process = self._started()
            except OSError as error:  # no memory, or too many processes
                self._wait("the page cannot be started; the watch goes on", why=error.strerror)
                continue
            if process is None:
                return
            code = process.wait()
            assert process.stdin is not None
            process.stdin.close()
            if self._ending.is_set():
                return
            if self._clock.moment().mono_ms - began_ms > _WELL_AFTER_MS:
                self._backoff.succeeded()
            self._wait("the page has ended; the watch goes on", exit_code=code)

    def _wait(self, what: str, **why: object) -> None:
        wait_s = self._backoff.failed()
        log.warning(what, extra={**why, "again_in_s": round(wait_s, 1)})
        self._ending.wait(wait_s)

    def _started(self) -> subprocess.Popen[bytes] | None:
        with self._lock:
            if self._ending.is_set():
                return None
            # Its input closes when this process is gone, however that came: then it ends too.  In a group of
            # its own, so that Ctrl-C reaches the daemon alone, which ends it in order.
            self._process = subprocess.Popen(  # noqa: S603 - our own program
                self._command,
                env={**os.environ, **FEW_ARENAS},
                stdin=subprocess.PIPE,
                stdout=self._output,
                process_group=0,
            )
            return self._process
