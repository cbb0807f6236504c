"""What the store has and the server has not, sent portion by portion.

A cursor in the store says how far the server has come.  What was sent before the cursor could be moved is
sent again, which changes nothing at the server.

A correction of the clock moves readings in the store, and they are sent again with their new times.  The
server then also keeps the points at the old times, which carry the flag `clock_unsure`.
"""

from collections.abc import Iterable

from ingest.mirror.lines import LineWriter
from ingest.mirror.server import MirrorServer
from ingest.mirror.settings import MirrorError
from ingest.store.store import Store

_READINGS_AT_ONCE = 5_000  # of the store; with a chunk as stored it may be some 13,000: a few MB of text
_LINES_AT_ONCE = 5_000  # in one request, some 600 kB


class MirrorFeed:
    """Use it in the thread of its store's connection."""

    def __init__(self, store: Store, server: MirrorServer, lines: LineWriter, destination: str) -> None:
        """`destination` names the cursor: another server is filled from the beginning."""
        self._store = store
        self._server = server
        self._lines = lines
        self._done = f"mirror {destination}"
        self._taken = f"mirror {destination}, on its way"

    def step(self) -> tuple[bool, MirrorError | None]:
        """Send one portion; return whether more may wait, and what the server had against some lines.

        Raise MirrorError if the server did not take it: it stays to be sent.
        """
        cursors = self._store.cursors
        with self._store.transaction():
            position = cursors.get(self._done)
            batches, after = self._store.readings.since(position, _READINGS_AT_ONCE)
            if after == position:
                return False, None
            # Should readings be moved in time while they are on their way, the store sets this back too.
            cursors.set(self._taken, after)
        complaint = self._send(line for batch in batches for line in self._lines.lines(batch))
        with self._store.transaction():
            cursors.set(self._done, cursors.get(self._taken))
        return True, complaint

    def _send(self, lines: Iterable[str]) -> MirrorError | None:
        complaint = None
        portion: list[str] = []
        for line in lines:
            portion.append(line)
            if len(portion) == _LINES_AT_ONCE:
                complaint = self._server.write(portion) or complaint
                portion.clear()
        if portion:
            complaint = self._server.write(portion) or complaint
        return complaint
