"""Days that have been judged and turn out to have been others: by late readings or another calibration."""

from datetime import date, timedelta
from typing import Final

from exposure.days import DayBounds, day_bounds, local_date
from ingest.config import Config
from ingest.store.day_rows import AROUND_MS
from ingest.store.store import Store

_FOR_EVER_MS: Final = 2**53


class LateDays:
    """The last day of each spot that was judged, and when it is to be judged anew.

    An earlier day is over and done with: what is still so of it shows in the last one.
    """

    def __init__(self, store: Store, config: Config, due_ms: int | None) -> None:
        """What came late in an earlier run and was not judged any more is due at `due_ms`, if given."""
        self._boards = {key: config.boards[spot.board].identity for key, spot in config.spots.items()}
        self._store = store
        self._judged: dict[str, DayBounds] = {}
        self._due_ms: dict[str, int] = {}
        self._taken_ms: dict[str, int] = {}  # of those that are being judged: when they were due
        if due_ms is not None:
            stale = set(store.days.stale())
            for spot in config.spots:
                through_ms = store.judged.through(spot)
                assert through_ms is not None, "each spot has one since the start"
                zone = config.bridge.time_zone
                day = day_bounds(local_date(through_ms, zone) - timedelta(days=1), zone)
                text = day.date.isoformat()
                if (spot, text) in stale:
                    self._due_ms[spot] = due_ms
                elif not store.days.between(spot, text, text):
                    continue
                self._judged[spot] = day
        self._count()
        self._note_what_applies()

    def _count(self) -> None:
        self.before_ms = max((day.end_ms for day in self._judged.values()), default=0) + AROUND_MS
        """Readings that were made later concern no day that was judged."""

    @property
    def due_ms(self) -> int:
        """When the first is due."""
        return min(self._due_ms.values(), default=_FOR_EVER_MS)

    def judged(self, spot: str, day: DayBounds) -> None:
        """Take note that a day was judged, for the first time or anew."""
        self._judged[spot] = day
        self._due_ms.pop(spot, None)
        self._taken_ms.pop(spot, None)
        self._count()

    def holds(self, spot: str, day: date) -> bool:
        """Return whether a day is still to be judged anew."""
        is_to_come = spot in self._due_ms or spot in self._taken_ms
        return is_to_come and self._judged[spot].date == day

    def came(self, board: str, first_ms: int, due_ms: int) -> int:
        """Let what readings from `first_ms` on concern be due then; return when the first is due."""
        for spot, day in self._judged.items():
            if self._boards[spot] == board and first_ms < day.end_ms + AROUND_MS:
                self._due_ms[spot] = due_ms
        return self.due_ms

    def look(self, due_ms: int) -> int:
        """See whether somebody has put another calibration over the past: what it concerns is due then.

        Return when the first is due.
        """
        if self._store.assignments.revision() != self._revision:
            before = self._applied
            self._note_what_applies()
            self._due_ms |= {spot: due_ms for spot in self._judged if before[spot] != self._applied[spot]}
        return self.due_ms

    def _note_what_applies(self) -> None:
        self._revision = self._store.assignments.revision()
        self._applied = {spot: self._store.assignments.history(spot) for spot in self._boards}

    def take(self, spot: str, now_ms: int) -> tuple[DayBounds, int] | None:
        """Return the spot's day, once, and since when it has been due, if it is."""
        if self._due_ms.get(spot, _FOR_EVER_MS) > now_ms:
            return None
        self._taken_ms[spot] = self._due_ms.pop(spot)
        return self._judged[spot], self._taken_ms[spot]

    def restamp(self, step_ms: int, started_ms: int) -> None:
        """Move along with the run's readings to a better time, by which it began at `started_ms`.

        Days that the run has judged by the wrong time were none.  Those that were being judged are due again.
        """
        self._judged = {spot: day for spot, day in self._judged.items() if day.end_ms <= started_ms}
        due_ms = {**self._taken_ms, **self._due_ms}
        self._due_ms = {spot: ms + step_ms for spot, ms in due_ms.items() if spot in self._judged}
        self._taken_ms = {}
        self._count()
        self._note_what_applies()  # from another time on, which changes nothing of what has come
