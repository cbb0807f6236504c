"""What every watch has in common: it keeps at most one event open."""

from collections.abc import Iterable

from exposure.events import Event, EventKind


class OneEvent:
    """The one event that a watch follows, in its latest version, and what every watch can do.

    An event closed by hand is followed on in silence until its cause is gone: a keeper who has closed it is
    not told again of what he knows, and what comes anew after that is a new event.
    """

    def __init__(self, event: Event | None) -> None:
        """Take up `event` where an earlier watch left off, if there is one: open, or closed by hand."""
        self.event = event

    @property
    def open_event(self) -> Event | None:
        """The event, unless it was closed by hand."""
        return self.event if self.event is not None and self.event.is_open else None

    def acknowledge(self, at_ms: int) -> Event | None:
        """Return the open event as seen by a person, and keep it so; None if none is open."""
        if self.open_event is not None:
            self.event = self.open_event.acknowledged(at_ms)
        return self.open_event

    def close(self, at_ms: int) -> Event | None:
        """Return the open event closed by hand; None if none is open.

        Another opens only once its cause has gone and come again, or has become graver.
        """
        if self.open_event is None:
            return None
        self.event = self.open_event.closed(at_ms, BY_HAND)
        return self.event

    def take_up(self, event: Event) -> None:
        """Go on with a newer version of the open event."""
        if self.open_event is not None and self.open_event.identity == event.identity:
            self.event = event

    def restamp(self, step_ms: int) -> None:
        """Move what is remembered of past times along with a step of the clock."""
        raise NotImplementedError


BY_HAND = "by hand"
"""Why an event closed that a person has closed."""


def to_go_on_with(events: Iterable[Event], subject: str) -> dict[EventKind, Event]:
    """Return the events of a spot or board that its watches take up, by kind.

    One that was closed by hand gives way to an open one: that is of a newer or graver cause.
    """
    of_it = [event for event in events if event.subject == subject]
    by_hand = [event for event in of_it if event.closing == BY_HAND]
    return {event.kind: event for event in (*by_hand, *(event for event in of_it if event.is_open))}


def causes_of(watches: Iterable[OneEvent]) -> list[str]:
    """Return the identities of the events whose cause lasts, also of those that were closed by hand."""
    return [watch.event.identity for watch in watches if watch.event is not None]


def watch_of(identity: str, watches: Iterable[OneEvent]) -> OneEvent | None:
    """Return the watch that has the event of that identity open; None if none has."""
    for watch in watches:
        if watch.open_event is not None and watch.open_event.identity == identity:
            return watch
    return None
