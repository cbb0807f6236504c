"""What a board remembered and said late, judged as it would have been judged in time.

After an outage of the host most of what a board replays comes behind newer readings, which have been judged
already.  A breach of the ceiling in that time is still one: it becomes an event of the past.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from calibrate.arrays import IntArray
from exposure.events import Event
from firmware_host.clock import Moment
from ingest.history import History
from ingest.live_spot import LiveSpot
from ingest.store.store import Store

# A replay comes in portions with pauses between them; after this it is over.
_QUIET_MS: Final = 10_000
# As long before as a lamp may take to warm up, and a hold to run; as long after as an event takes to close.
_BEFORE_MS: Final = 3_600_000
_AFTER_MS: Final = 1_800_000


class LateReview:
    """Gathers which times were filled in late, and judges them when no more comes."""

    def __init__(self, store: Store, spots: Mapping[str, LiveSpot]) -> None:
        self._store = store
        self._spots = spots
        self._spans: dict[str, tuple[int, int]] = {}  # first and last UTC milliseconds by board
        self._heard_ms = 0

    def note(self, board: str, utc_ms: IntArray, now: Moment) -> None:
        """Take note of late readings of `board` at these times."""
        first_ms, last_ms = self._spans.get(board, (int(utc_ms[0]), int(utc_ms[-1])))
        self._spans[board] = min(first_ms, int(utc_ms[0])), max(last_ms, int(utc_ms[-1]))
        self._heard_ms = now.mono_ms

    def is_due(self, now: Moment) -> bool:
        """Return whether something came late and no more seems to come."""
        return bool(self._spans) and now.mono_ms - self._heard_ms >= _QUIET_MS

    def judge(self) -> list[Event]:
        """Return the changes of events that the late readings, all stored by now, bring to light."""
        spans, self._spans = self._spans, {}
        history = History(self._store)
        events: list[Event] = []
        for spot in self._spots.values():
            if spot.board in spans:
                first_ms, last_ms = spans[spot.board]
                samples = history.samples(spot.key, first_ms - _BEFORE_MS, last_ms + _AFTER_MS)
                known = self._store.events.between(first_ms - _BEFORE_MS, last_ms + _AFTER_MS)
                events += _news(spot.judge_past(samples), known, last_ms)
        return events

    def restamp(self, delta_ms: int) -> None:
        """Move along with the run's readings to a better time."""
        self._spans = {
            board: (first + delta_ms, last + delta_ms) for board, (first, last) in self._spans.items()
        }


def _news(changes: list[Event], known: Iterable[Event], last_ms: int) -> list[Event]:
    """Return all changes of the events that opened by then, have closed, and are not on record.

    What is still open is the living watch's to see.
    """
    found = {
        event.identity
        for event in changes
        if not event.is_open and event.opened_ms <= last_ms and _is_unknown(event, known)
    }
    # A note that it is over goes with its event.
    return [event for event in changes if {event.identity, event.evidence.get("after")} - {None} <= found]


def _is_unknown(event: Event, known: Iterable[Event]) -> bool:
    """Return whether no event of that kind and place on record overlaps this one, which has closed."""
    return not any(
        other.kind is event.kind
        and other.subject == event.subject
        and other.opened_ms <= (event.closed_ms or event.opened_ms)
        and (other.closed_ms is None or other.closed_ms >= event.opened_ms)
        for other in known
    )
