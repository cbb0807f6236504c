"""A lamp that goes off and comes back again and again."""

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import Samples
from exposure.events import Event, EventKind
from exposure.hold import Hold, runs
from exposure.kinds import new_event
from exposure.often_watch import OftenWatch
from exposure.rules import RuleSettings
from exposure.segments import BoolArray
from exposure.wording import duration_text

# Off or on for less is noise, or a single odd reading of a slow board.
_LEAST_S = 10.0
# Over so many times the dark level the lamp is back: what lies between is neither, as noise about one limit
# must not count as many switchings.
_LIT_TIMES = 2.0


class FlickerWatch(OftenWatch):
    """Opens an event when the lamp has come back from dark `flicker_times` times within `flicker_window_s`.

    It closes when it has not done so for that long.  What happens in a silence of the board is not counted.
    """

    def __init__(self, spot: str, settings: RuleSettings, event: Event | None) -> None:
        """Take up `event` where an earlier watch left off."""

        def story(first_ms: int, at_ms: int) -> Event:
            within_s = (at_ms - first_ms) / 1000
            return new_event(
                EventKind.LAMP_FLICKERS,
                spot,
                at_ms,
                f"the lamp went off and came back {settings.flicker_times} times "
                f"within {duration_text(within_s)}",
                {"times": settings.flicker_times, "since_ms": first_ms, "within_s": within_s},
            )

        super().__init__(story, times=settings.flicker_times, window_s=settings.flicker_window_s, event=event)
        self._lit_uvi = _LIT_TIMES * settings.dark_uvi
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._lit: bool | None = None
        self._dark_hold = Hold(_LEAST_S)
        self._lit_hold = Hold(_LEAST_S)

    def follow(self, samples: Samples, silence_ms: IntArray, dark: BoolArray) -> list[tuple[int, Event]]:
        """Return the events that change, each with the index of the sample at which it does.

        `dark` says which samples are up to the dark level.
        """
        if self._goes_on(silence_ms, dark):
            return []
        if self.event is not None and self.over_ms is None:
            self.tick(int(samples.utc_ms[0]))  # taken up: it counts from here on
        code = dark.view(np.uint8) | ((samples.uvi > self._lit_uvi).view(np.uint8) << 1)
        broken = silence_ms > self._max_gap_ms
        changes: list[tuple[int, Event]] = []
        for begin, end in runs(code, broken):
            if broken[begin]:
                self._dark_hold.forget()
                self._lit_hold.forget()
                self._lit = None
            self._run(samples, begin, end, int(code[begin]), changes)
        return changes

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def restamp(self, step_ms: int) -> None:
        """See `OneEvent`."""
        super().restamp(step_ms)
        self._dark_hold.restamp(step_ms)
        self._lit_hold.restamp(step_ms)

    def _goes_on(self, silence_ms: IntArray, dark: BoolArray) -> bool:
        """Return whether a lamp that was lit is lit all along, and nothing is under way."""
        if self.event is not None or not self._lit or self._dark_hold.since_ms is not None or dark.any():
            return False
        return not (silence_ms > self._max_gap_ms).any()

    def _run(
        self, samples: Samples, begin: int, end: int, code: int, changes: list[tuple[int, Event]]
    ) -> None:
        """Follow samples that are all dark, all lit or all in between, with no silence between them."""
        first_ms = int(samples.utc_ms[begin])
        turns_dark, turns_lit = bool(code & 1), bool(code & 2)
        self._dark_hold.note(turns_dark, first_ms)
        self._lit_hold.note(turns_lit, first_ms)
        hold = self._dark_hold if turns_dark else self._lit_hold
        is_news = self._lit is not False if turns_dark else turns_lit and not self._lit
        turn = hold.due(samples.utc_ms, begin, end) if is_news else end
        if turn < end:
            self._close_if_due(samples, begin, turn, changes)
            if turns_lit and self._lit is False:
                changes += [(turn, event) for event in self.happened(int(samples.utc_ms[turn]))]
            self._lit = turns_lit
            begin = turn
        self._close_if_due(samples, begin, end, changes)

    def _close_if_due(self, samples: Samples, begin: int, end: int, changes: list[tuple[int, Event]]) -> None:
        if self.over_ms is not None:
            at = begin + int(np.searchsorted(samples.utc_ms[begin:end], self.over_ms))
            if at < end:
                changes += [(at, event) for event in self.tick(int(samples.utc_ms[at]))]
