"""A daemon for the time being: in a thread of a command that needs live readings while none is running."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from calibrate.errors import KeeperError
from firmware_host.clock import Clock
from ingest.config import Config
from ingest.daemon import Daemon
from ingest.store.errors import StoreError
from ingest.store.store import Store

_START_MS = 30_000
_LOOK_S = 0.02


class TemporaryDaemon:
    """The daemon's thread.  `check` raises what has ended it."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self._daemon = Daemon(without_missing_calibrations(config), clock)
        self._failure: KeeperError | None = None
        self._thread = threading.Thread(target=self._run, name="daemon for the time being", daemon=True)

    def start(self) -> None:
        """Begin to read the boards."""
        self._thread.start()

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
        except KeeperError as error:
            self._failure = error


def without_missing_calibrations(config: Config) -> Config:
    """Return the configuration for a time at which some of its calibration files are still to be made."""
    spots = {
        key: spot
        if spot.calibration is None or spot.calibration.exists()
        else spot.model_copy(update={"calibration": None})
        for key, spot in config.spots.items()
    }
    return config.model_copy(update={"spots": spots})


def _why_unreadable(store: Path) -> StoreError | None:
    """Return why the store cannot be read yet: it is still being made, or brought up to date."""
    try:
        Store.open(store, read_only=True).close()
    except StoreError as error:
        return error
    return None


@contextmanager
def running_daemon(config: Config, clock: Clock) -> Iterator[TemporaryDaemon]:
    """Run a daemon until the end of the block; wait at the start until there is a store."""
    daemon = TemporaryDaemon(config, clock)
    daemon.start()
    try:
        started_ms = clock.moment().mono_ms
        while (trouble := _why_unreadable(config.bridge.store)) is not None:
            daemon.check()
            if clock.moment().mono_ms - started_ms > _START_MS:
                raise trouble
            clock.wait_s(_LOOK_S)
        yield daemon
    finally:
        daemon.stop()
