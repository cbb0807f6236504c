"""What every watch has in common: it keeps at most one event open."""

from collections.abc import Iterable

from exposure.events import Event


class OneEvent:
    """The one event that a watch may have open, in its latest version, and what every watch can do."""

    def __init__(self, event: Event | None) -> None:
        """Take up `event` where an earlier watch left off, if there is one."""
        self.event = event

    def acknowledge(self, at_ms: int) -> Event | None:
        """Return the open event as seen by a person, and keep it so; None if none is open."""
        if self.event is not None:
            self.event = self.event.acknowledged(at_ms)
        return self.event

    def close(self, at_ms: int) -> Event | None:
        """Return the open event closed by hand; None if none is open.

        Another opens only once its cause has held anew.
        """
        if self.event is None:
            return None
        closed = self.event.closed(at_ms, "by hand")
        self.event = None
        self._let_go(at_ms)
        return closed

    def take_up(self, event: Event) -> None:
        """Go on with a newer version of the open event."""
        if self.event is not None and self.event.identity == event.identity:
            self.event = event

    def restamp(self, step_ms: int) -> None:
        """Move what is remembered of past times along with a step of the clock."""
        raise NotImplementedError

    def _let_go(self, at_ms: int) -> None:
        """Forget what would open the event again at once; it is `at_ms` now."""
        raise NotImplementedError


def watch_of(identity: str, watches: Iterable[OneEvent]) -> OneEvent | None:
    """Return the watch that has the event of that identity open; None if none has."""
    for watch in watches:
        if watch.event is not None and watch.event.identity == identity:
            return watch
    return None
