"""Short-lived children of the page: they do what would leave hundreds of MB behind in its process."""

import subprocess
import sys
import threading
from subprocess import CompletedProcess, Popen

from calibrate.errors import KeeperError


class ChildEndedError(KeeperError):
    """A child that was ended together with the page."""


class Children:
    """Those that run; once they were ended, no other is begun."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._running: set[Popen[bytes]] = set()
        self._ended = False

    def run(
        self, module: str, *arguments: str, given: bytes = b"", patience_s: float
    ) -> CompletedProcess[bytes]:
        """Return what `python -m module arguments` did with `given` on its standard input.

        Raises `subprocess.TimeoutExpired`, and `ChildEndedError` if it was ended with the page.
        """
        # -P: what lies in the folder in which the parent was started must not pass for a library.
        command = [sys.executable, "-P", "-m", module, *arguments]
        pipe = subprocess.PIPE
        with self._lock:
            self._go_on()
            process = Popen(command, stdin=pipe, stdout=pipe, stderr=pipe)  # noqa: S603 - our own program
            self._running.add(process)
        try:
            with process:
                try:
                    said, complained = process.communicate(given, timeout=patience_s)
                except BaseException:
                    process.kill()
                    raise
        finally:
            with self._lock:
                self._running.discard(process)
        self._go_on()
        return CompletedProcess(command, process.returncode, said, complained)

    def end(self) -> None:
        """End those that run: nobody waits for them any more."""
        with self._lock:
            self._ended = True
            for process in self._running:
                process.kill()

    def _go_on(self) -> None:
        if self._ended:
            raise ChildEndedError("the page is ending", remedy="Load it anew when it is there again")
