"""What a run adds to the record of events, and how it is put right when the clock turns out wrong."""

import logging
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from typing import TypeAlias

from exposure.events import Event
from ingest.config import Config
from ingest.mqtt.payloads import Change
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store

log = logging.getLogger("baskline.bridge")

EventMessage: TypeAlias = Callable[[Event, Change], OutgoingMessage]


class EventRecord:
    """Puts events into the store, each change with its message in the outbox."""

    def __init__(self, store: Store, message: EventMessage | None, opened: Iterable[Event]) -> None:
        """`opened`: those that an earlier run left to be gone on with; without `message` nobody is told."""
        self._store = store
        self._message = message
        self._earlier = {event.identity for event in opened}
        # The times that this run has given, by identity.
        self._opened_ms: dict[str, int] = {}
        self._closed_ms: dict[str, int] = {}

    def put(self, events: Iterable[Event], *, of_this_run: bool = True) -> list[Event]:
        """Store events, in the caller's transaction; return those that changed, as they now stand.

        `of_this_run`: their times are by this run's clock, and move when it turns out wrong.
        """
        changed = []
        for event in events:
            if of_this_run and event.identity not in self._earlier:
                self._opened_ms[event.identity] = event.opened_ms
            if of_this_run and event.closed_ms is not None:
                self._closed_ms[event.identity] = event.closed_ms
            stored = self._store.events.put(event)
            if stored is not None:
                changed.append(stored)
                if self._message is not None:
                    message = self._message(stored, change_of(stored))
                    self._store.outbox.put(message, changed_ms(stored))
        return changed

    def forget_gone(self, lasting: Callable[[], Collection[str]]) -> None:
        """Forget what was closed by hand and has no cause any more, in the caller's transaction.

        `lasting` gives the events of which this run's watches see the cause; of others nothing is known here.
        """
        closed = [event.identity for event in self._store.events.causes_last()]
        if closed:
            of_this_run = self._earlier | self._opened_ms.keys()
            still = lasting()
            self._store.events.causes_gone(
                each for each in closed if each in of_this_run and each not in still
            )

    @staticmethod
    def log(changed: Iterable[Event]) -> None:
        """Log what `put` returned, once it is committed."""
        for event in changed:
            log.info(
                event.sentence,
                extra={
                    "event": event.identity,
                    "severity": event.severity.value,
                    "change": change_of(event).value,
                },
            )

    def latest(self, events: Iterable[Event]) -> list[Event]:
        """Return events that were put, as they are now on record."""
        found = (self._store.events.get(event.identity) for event in events)
        return [event for event in found if event is not None]

    def restamp(self, step_ms: int) -> None:
        """Move the times that this run has given to its events, in the caller's transaction."""
        for identity in self._opened_ms.keys() | self._closed_ms.keys():
            event = self._store.events.get(identity)
            assert event is not None
            moved = event
            if event.opened_ms == self._opened_ms.get(identity):
                moved = event.moved(step_ms)
            elif event.closed_ms is not None and event.closed_ms == self._closed_ms.get(identity):
                moved = replace(event, closed_ms=max(event.opened_ms, event.closed_ms + step_ms))
            if moved != event:
                self._store.events.correct(moved)
        self._opened_ms = {identity: ms + step_ms for identity, ms in self._opened_ms.items()}
        self._closed_ms = {identity: ms + step_ms for identity, ms in self._closed_ms.items()}


def in_order(events: Sequence[Event]) -> list[Event]:
    """Return changes of events in the order in which they happened."""
    return sorted(events, key=changed_ms)


def change_of(event: Event) -> Change:
    """Return what has happened to an event last; one that ends as it begins has only happened."""
    if event.closed_ms is not None and event.closed_ms != event.opened_ms:
        return Change.CLOSED
    return Change.OPENED if event.acknowledged_ms is None else Change.ACKNOWLEDGED


def changed_ms(event: Event) -> int:
    """Return when an event changed last."""
    return max(event.opened_ms, event.acknowledged_ms or 0, event.closed_ms or 0)


def no_longer_watched(opened: Iterable[Event], config: Config, now_ms: int) -> list[Event]:
    """Return, closed, the open events of spots and boards that have left the configuration."""
    watched = {("spot", key) for key in config.spots}
    watched |= {("board", board.identity) for board in config.boards.values()}
    return [
        event.closed(max(now_ms, event.opened_ms), f"this {event.subject_kind} is no longer watched")
        for event in opened
        if (event.subject_kind, event.subject) not in watched
    ]
