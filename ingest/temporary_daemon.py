"""A daemon for the time being: in a thread of a command that needs live readings while none is running."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from exposure.events import Event
from firmware_host.clock import Clock
from ingest.config import Config
from ingest.daemon import Daemon
from ingest.mqtt.payloads import BoardState, SpotState

_LOOK_S = 0.05


class TemporaryDaemon:
    """The daemon's thread.  `check` raises what has ended it."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self._up = _Up()
        self._daemon = Daemon(config, clock, audience=(self._up,))
        self._failure: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="daemon for the time being", daemon=True)

    def start(self) -> None:
        """Begin to read the boards; return when it does, or raise what keeps it from it."""
        self._thread.start()
        while not self._up.heard.wait(_LOOK_S):
            self.check()

    def check(self) -> None:
        """Raise what has ended it, if it has ended."""
        if self._failure is not None:
            raise self._failure

    def stop(self) -> None:
        """End it, with everything stored."""
        self._daemon.stop()
        self._thread.join()

    def _run(self) -> None:
        try:
            self._daemon.run()
        except Exception as error:  # noqa: BLE001 - it is raised again in the command's own thread
            self._failure = error


class _Up:
    """An audience that only hears that there is somebody who speaks."""

    def __init__(self) -> None:
        self.heard = threading.Event()

    def event(self, event: Event) -> None:
        """Take no heed."""

    def open_events(self, events: Sequence[Event], now_ms: int) -> None:  # noqa: ARG002
        """Hear the first news: the store is open and the ports are being read."""
        self.heard.set()

    def spot(self, state: SpotState) -> None:
        """Take no heed."""

    def board(self, state: BoardState) -> None:
        """Take no heed."""


@contextmanager
def running_daemon(config: Config, clock: Clock) -> Iterator[TemporaryDaemon]:
    """Run a daemon until the end of the block, which begins when it reads the boards."""
    daemon = TemporaryDaemon(config, clock)
    try:
        daemon.start()
        yield daemon
    finally:
        daemon.stop()
