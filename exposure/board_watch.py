"""A board under watch: silence for too long is an event."""

from collections.abc import Sequence

import numpy as np

from calibrate.arrays import IntArray
from exposure.events import Event, EventKind, Severity, event_identity
from exposure.wording import SILENT_ADVICE, duration_text

# A link that is pulled, or a board that resets, is back within half a minute.
_LEAST_SILENCE_S = 30.0
# One or two readings may be lost; five in a row are not.
_CADENCES_OF_SILENCE = 5.0


def default_silence_s(cadence_s: float) -> float:
    """Return after how long a board that speaks every `cadence_s` counts as silent."""
    return max(_LEAST_SILENCE_S, _CADENCES_OF_SILENCE * cadence_s)


class BoardWatch:
    """Opens an event when a board has been silent for `silent_after_s`, and closes it when it speaks.

    The event opens at the moment at which the silence had lasted long enough, not at the tick that found
    it, so a replay with other ticks gives the same events.  All times must be of one axis.
    """

    def __init__(
        self, board: str, *, silent_after_s: float, started_ms: int, open_events: Sequence[Event] = ()
    ) -> None:
        """Watch from `started_ms` on, as if the board had spoken then; take up an event still open."""
        self._board = board
        self._silent_after_ms = round(silent_after_s * 1000)
        self._since_ms = started_ms
        self._last_heard_ms: int | None = None
        self._event: Event | None = None
        for event in open_events:
            if event.kind is EventKind.BOARD_SILENT and event.subject == board and event.is_open:
                self._event = event

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The event now open, if any, in its latest version."""
        return () if self._event is None else (self._event,)

    def heard(self, at_ms: int) -> list[Event]:
        """Take notice that the board spoke, and return the events that changed."""
        changed = self.tick(at_ms)
        self._last_heard_ms = max(at_ms, self._since_ms)
        self._since_ms = self._last_heard_ms
        if self._event is not None:
            silent_s = (self._since_ms - self._event.opened_ms + self._silent_after_ms) / 1000
            changed.append(self._event.closed(self._since_ms, f"spoke again after {duration_text(silent_s)}"))
            self._event = None
        return changed

    def heard_all(self, at_ms: IntArray) -> list[Event]:
        """Take notice of readings at these times (n ≥ 1, increasing) as if they were heard one by one."""
        breaks = np.flatnonzero(np.diff(at_ms) >= self._silent_after_ms)
        changed: list[Event] = []
        for first, last in zip([0, *(breaks + 1)], [*breaks, len(at_ms) - 1], strict=True):
            changed += self.heard(int(at_ms[first]))
            self._since_ms = self._last_heard_ms = max(self._since_ms, int(at_ms[last]))
        return changed

    def expect(self, silent_after_s: float) -> None:
        """Let silence count from now on after another time: the board has said how often it speaks."""
        self._silent_after_ms = round(silent_after_s * 1000)

    def tick(self, at_ms: int) -> list[Event]:
        """Let time pass, and return the events that changed."""
        due_ms = self._since_ms + self._silent_after_ms
        if self._event is not None or at_ms < due_ms:
            return []
        after_s = self._silent_after_ms / 1000
        since_start = "" if self._last_heard_ms else "since the start, "
        self._event = Event(
            identity=event_identity(EventKind.BOARD_SILENT, self._board, due_ms),
            kind=EventKind.BOARD_SILENT,
            subject_kind="board",
            subject=self._board,
            severity=Severity.TODAY,
            opened_ms=due_ms,
            sentence=f"silent, nothing heard {since_start}for {duration_text(after_s)}",
            advice=SILENT_ADVICE,
            evidence={"silent_after_s": after_s, "last_heard_ms": self._last_heard_ms},
        )
        return [self._event]

    def acknowledge(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as acknowledged, and remember it; None if it is not open."""
        if self._event is None or self._event.identity != identity:
            return None
        self._event = self._event.acknowledged(at_ms)
        return self._event

    def restamp(self, step_ms: int, open_events: Sequence[Event] = ()) -> None:
        """Move along when the host's clock was stepped: all times before it now read `step_ms` later.

        `open_events`: as they are on record since; that of this board is gone on with.
        """
        for event in open_events:
            if self._event is not None and self._event.identity == event.identity:
                self._event = event
        self._since_ms += step_ms
        if self._last_heard_ms is not None:
            self._last_heard_ms += step_ms
