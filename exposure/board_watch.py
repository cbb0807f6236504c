"""A board under watch: silence for too long is an event, and so are restarts and a clock that jumps."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from calibrate.arrays import IntArray
from exposure.events import Event, EventKind
from exposure.kinds import new_event
from exposure.often_watch import OftenWatch
from exposure.one_event import OneEvent, causes_of, to_go_on_with, watch_of
from exposure.wording import duration_text

# A link that is pulled, or a board that resets, is back within half a minute.
_LEAST_SILENCE_S = 30.0
# One or two readings may be lost; five in a row are not.
_CADENCES_OF_SILENCE = 5.0


# A keeper who plugs a board in anew does so once or twice; a loose cable or a weak supply goes on.
_RESTARTS = 4
_RESTART_WINDOW_S = 3600.0
# A single jump is a board's own business, since its readings are stamped by the host.
_JUMPS = 3
_JUMP_WINDOW_S = 3600.0
_NEW_BOOT_ADVICE = (
    "Let the board's program draw a new boot number at each start, as the wire format asks, or flash "
    "baskline's own program"
)


def default_silence_s(cadence_s: float) -> float:
    """Return after how long a board that speaks every `cadence_s` counts as silent."""
    return max(_LEAST_SILENCE_S, _CADENCES_OF_SILENCE * cadence_s)


class BoardWatch:
    """Opens an event when a board has been silent for `silent_after_s`, and closes it when it speaks.

    The event opens at the moment at which the silence had lasted long enough, not at the tick that found
    it, so a replay with other ticks gives the same events.  Others open when the board starts again, or its
    own time jumps, several times within an hour, and close an hour after the last time.  All times must be
    of one axis.
    """

    def __init__(
        self,
        board: str,
        *,
        silent_after_s: float,
        started_ms: int,
        open_events: Sequence[Event] = (),
        restart_words: str = "started again",
    ) -> None:
        """Watch from `started_ms` on, as if the board had spoken then; take up events open or closed by hand.

        `restart_words` say what a restart of this board looks like.
        """
        by_kind = to_go_on_with(open_events, board)
        self._board = board
        self._silence = _Silence(board, silent_after_s, started_ms, by_kind.get(EventKind.BOARD_SILENT))
        self._restarts = OftenWatch(
            partial(_often, board, EventKind.BOARD_RESTARTING, f"{restart_words} {_RESTARTS} times"),
            times=_RESTARTS,
            window_s=_RESTART_WINDOW_S,
            event=by_kind.get(EventKind.BOARD_RESTARTING),
        )
        self._jumps = OftenWatch(
            partial(_often, board, EventKind.BOARD_CLOCK_WRONG, f"its own time jumped {_JUMPS} times"),
            times=_JUMPS,
            window_s=_JUMP_WINDOW_S,
            event=by_kind.get(EventKind.BOARD_CLOCK_WRONG),
        )
        for often in (self._restarts, self._jumps):
            often.tick(started_ms)  # what was taken up lasts a while from here on
        self._watches: tuple[OneEvent, ...] = (self._silence, self._restarts, self._jumps)

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The events now open, in their latest version."""
        return tuple(watch.open_event for watch in self._watches if watch.open_event is not None)

    @property
    def causes(self) -> list[str]:
        """The identities of the events whose cause lasts, also of those that were closed by hand."""
        return causes_of(self._watches)

    def heard(self, at_ms: int) -> list[Event]:
        """Take notice that the board spoke, and return the events that changed."""
        return self._silence.heard(at_ms)

    def heard_all(self, at_ms: IntArray) -> list[Event]:
        """Take notice of readings at these times (n ≥ 1, increasing) as if they were heard one by one."""
        return self._silence.heard_all(at_ms)

    def started_again(self, at_ms: int) -> list[Event]:
        """Take notice that the board started again, and return the events that changed."""
        return self._restarts.happened(at_ms)

    def started_under_old_boot(self, boot: str, at_ms: int) -> list[Event]:
        """Take notice that it did so under its old boot number, which costs readings each time."""
        event = new_event(
            EventKind.BOARD_RESTARTING,
            self._board,
            at_ms,
            f"started again under its old boot number {boot}, so that its new readings cannot be told from "
            "its old ones and are lost until their numbers are new",
            {"boot": boot},
            subject_kind="board",
        )
        return self._restarts.open_at_once(replace(event, advice=_NEW_BOOT_ADVICE))

    def clock_jumped(self, at_ms: int) -> list[Event]:
        """Take notice that the board's own time jumped, and return the events that changed."""
        return self._jumps.happened(at_ms)

    def expect(self, silent_after_s: float) -> None:
        """Let silence count from now on after another time: the board has said how often it speaks."""
        self._silence.expect(silent_after_s)

    def tick(self, at_ms: int) -> list[Event]:
        """Let time pass, and return the events that changed."""
        return [*self._silence.tick(at_ms), *self._restarts.tick(at_ms), *self._jumps.tick(at_ms)]

    def acknowledge(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as acknowledged, and remember it; None if it is not open."""
        watch = watch_of(identity, self._watches)
        return None if watch is None else watch.acknowledge(at_ms)

    def close(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as closed by hand; None if it is not open."""
        watch = watch_of(identity, self._watches)
        return None if watch is None else watch.close(at_ms)

    def restamp(self, step_ms: int, open_events: Sequence[Event] = ()) -> None:
        """Move along when the host's clock was stepped: all times before it now read `step_ms` later.

        `open_events`: as they are on record since; those of this board are gone on with.
        """
        for watch in self._watches:
            for event in open_events:
                watch.take_up(event)
            watch.restamp(step_ms)


def _often(board: str, kind: EventKind, words: str, first_ms: int, at_ms: int) -> Event:
    within_s = (at_ms - first_ms) / 1000
    return new_event(
        kind,
        board,
        at_ms,
        f"{words} within {duration_text(within_s)}",
        {"since_ms": first_ms, "within_s": within_s},
        subject_kind="board",
    )


class _Silence(OneEvent):
    """Since when a board has been silent."""

    def __init__(self, board: str, silent_after_s: float, started_ms: int, event: Event | None) -> None:
        super().__init__(event)
        self._board = board
        self._silent_after_ms = round(silent_after_s * 1000)
        self._since_ms = started_ms
        self._last_heard_ms: int | None = None

    def heard(self, at_ms: int) -> list[Event]:
        changed = self.tick(at_ms)
        self._last_heard_ms = self._since_ms = max(at_ms, self._since_ms)
        if self.open_event is not None:
            silent_s = (self._since_ms - self.open_event.opened_ms + self._silent_after_ms) / 1000
            words = f"spoke again after {duration_text(silent_s)}"
            changed.append(self.open_event.closed(self._since_ms, words))
        self.event = None
        return changed

    def heard_all(self, at_ms: IntArray) -> list[Event]:
        breaks = np.flatnonzero(np.diff(at_ms) >= self._silent_after_ms)
        changed: list[Event] = []
        for first, last in zip([0, *(breaks + 1)], [*breaks, len(at_ms) - 1], strict=True):
            changed += self.heard(int(at_ms[first]))
            self._since_ms = self._last_heard_ms = max(self._since_ms, int(at_ms[last]))
        return changed

    def expect(self, silent_after_s: float) -> None:
        self._silent_after_ms = round(silent_after_s * 1000)

    def tick(self, at_ms: int) -> list[Event]:
        due_ms = self._since_ms + self._silent_after_ms
        if self.event is not None or at_ms < due_ms:
            return []
        after_s = self._silent_after_ms / 1000
        since_start = "" if self._last_heard_ms else "since the start, "
        self.event = new_event(
            EventKind.BOARD_SILENT,
            self._board,
            due_ms,
            f"silent, nothing heard {since_start}for {duration_text(after_s)}",
            {"silent_after_s": after_s, "last_heard_ms": self._last_heard_ms},
            subject_kind="board",
        )
        return [self.event]

    def restamp(self, step_ms: int) -> None:
        self._since_ms += step_ms
        if self._last_heard_ms is not None:
            self._last_heard_ms += step_ms
