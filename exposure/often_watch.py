"""What happens too often under watch: one turn is chance, many within a while are a fault."""

from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias

from exposure.events import Event
from exposure.one_event import OneEvent
from exposure.wording import duration_text

OftenStory: TypeAlias = Callable[[int, int], Event]
"""Writes the event that opens: from when the first that counts happened, and when the last did."""


class OftenWatch(OneEvent):
    """Opens an event when something has happened `times` times within `window_s`.

    It closes when it has not happened again for that long, at that moment, whenever that is noticed.
    """

    def __init__(self, story: OftenStory, *, times: int, window_s: float, event: Event | None) -> None:
        """Take up `event` where an earlier watch left off: as if it had just happened when time is told."""
        super().__init__(event)
        self._story = story
        self._window_ms = round(window_s * 1000)
        self._at_ms: deque[int] = deque(maxlen=times)
        self._n_more = 0  # since the event opened

    @property
    def over_ms(self) -> int | None:
        """When the open event will close if it does not happen again; None if that is not known."""
        return None if self.event is None or not self._at_ms else self._at_ms[-1] + self._window_ms

    def happened(self, at_ms: int) -> list[Event]:
        """Take notice that it happened, and return the events that change by it."""
        changed = self.tick(at_ms)
        self._at_ms.append(at_ms)
        self._n_more += 1
        first_ms = self._at_ms[0]
        if (
            self.event is None
            and len(self._at_ms) == self._at_ms.maxlen
            and at_ms - first_ms <= self._window_ms
        ):
            self.event = self._story(first_ms, at_ms)
            self._n_more = 0
            changed.append(self.event)
        return changed

    def open_at_once(self, event: Event) -> list[Event]:
        """Open `event` without counting, unless one is open or was closed by hand; return what changes."""
        changed = self.tick(event.opened_ms)
        self._at_ms.append(event.opened_ms)
        self._n_more += 1
        if self.event is None:
            self.event = event
            self._n_more = 0
            changed.append(event)
        return changed

    def tick(self, at_ms: int) -> list[Event]:
        """Let time pass, and return the events that change."""
        if self.event is not None and not self._at_ms:  # taken up: what came last is not known
            self._at_ms.append(max(at_ms, self.event.opened_ms))
        over_ms = self.over_ms
        if self.event is None or over_ms is None or at_ms < over_ms:
            return []
        event, self.event = self.event, None
        self._at_ms.clear()
        if not event.is_open:
            return []
        counted = replace(event, evidence={**event.evidence, "times_more": self._n_more})
        return [counted.closed(over_ms, f"did not happen again for {duration_text(self._window_ms / 1000)}")]

    def restamp(self, step_ms: int) -> None:
        """See `OneEvent`."""
        self._at_ms = deque((at_ms + step_ms for at_ms in self._at_ms), self._at_ms.maxlen)
