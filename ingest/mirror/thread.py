"""The mirror's own thread, so that neither a slow server nor a long backlog holds up the bridge."""

import threading
from collections.abc import Callable, Iterable

from calibrate.errors import KeeperError
from ingest.backoff import Backoff
from ingest.history import History
from ingest.mirror.feed import MirrorFeed
from ingest.mirror.lines import LineWriter
from ingest.mirror.server import MirrorServer
from ingest.mirror.settings import MirrorSettings
from ingest.store.store import Store

_EVERY_S = 10.0  # between looks into the store once all is sent
_BREATHER_S = 0.2  # between portions of a backlog: the bridge shares this processor, and comes first


class Mirror:
    """Feeds the server until `stop`."""

    def __init__(
        self,
        settings: MirrorSettings,
        open_store: Callable[[], Store],
        spots: Iterable[str],
        report: Callable[[KeeperError], None],
    ) -> None:
        """`open_store` opens the mirror's own connection, which writes only its cursors.

        `report` is called from the mirror's thread, once for each new trouble until the server has taken
        something again.
        """
        self._settings = settings
        self._open_store = open_store
        self._spots = tuple(spots)
        self._report = report
        self._reported: set[str] = set()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)
        self.trouble: KeeperError | None = None
        """Why the server is not being fed; None while it is."""

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End; a request still on its way is waited for so long, and repeated by the next run."""
        self._stopping.set()
        self._thread.join(timeout_s)

    def _run(self) -> None:
        settings = self._settings
        backoff = Backoff(f"{settings.site}/{settings.bridge}")
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            try:
                with self._open_store() as store, MirrorServer(settings) as server:
                    lines = LineWriter(settings.site, settings.bridge, self._spots, History(store))
                    destination = f"{settings.url} {settings.org} {settings.bucket}"
                    self._feed(MirrorFeed(store, server, lines, destination), backoff)
            except KeeperError as error:
                self.trouble = error
                self._report_once(error)
                wait_s = backoff.failed()

    def _feed(self, feed: MirrorFeed, backoff: Backoff) -> None:
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            more, complaint = feed.step()
            wait_s = _BREATHER_S if more else _EVERY_S
            if more:
                backoff.succeeded()
                self.trouble = None
            if complaint is not None:
                self._report_once(complaint)
            elif more:
                self._reported.clear()

    def _report_once(self, error: KeeperError) -> None:
        if str(error) not in self._reported:
            self._reported.add(str(error))
            self._report(error)
