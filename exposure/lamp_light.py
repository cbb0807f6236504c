"""When a spot's lamp is lit by its own light, and when it should be by the clock."""

from datetime import timedelta
from enum import Enum, auto

import numpy as np

from calibrate.arrays import IntArray
from exposure.days import local_date, local_time_ms
from exposure.hold import Hold, runs
from exposure.rules import RuleSettings
from exposure.segments import BoolArray


class Photoperiod:
    """By the clock: lit from one local time to another, whatever the spot shows."""

    def __init__(self, settings: RuleSettings) -> None:
        assert settings.lit_from_minute is not None
        assert settings.lit_until_minute is not None
        self._from_minute = settings.lit_from_minute
        over_midnight = settings.lit_until_minute < settings.lit_from_minute
        self._until_minute = settings.lit_until_minute + (1440 if over_midnight else 0)
        self._time_zone = settings.time_zone
        self._known_ms = (0, 0)  # the span of time for which the edges are worked out
        self._on_ms = self._off_ms = np.empty(0, np.int64)
        self._same_ms, self._same = (0, 0), False  # a span over which nothing changes, and what is so in it

    def lit(self, utc_ms: IntArray) -> BoolArray:
        """Return at which of these moments, at least one and in order, the lamp should be lit."""
        first_ms, last_ms = int(utc_ms[0]), int(utc_ms[-1])
        if not self._same_ms[0] <= first_ms <= last_ms < self._same_ms[1]:
            if not self._known_ms[0] <= first_ms <= last_ms < self._known_ms[1]:
                self._work_out(first_ms, last_ms)
            edges = np.sort(np.concatenate([self._on_ms, self._off_ms]))
            after = int(np.searchsorted(edges, last_ms, "right"))
            self._same_ms = int(edges[after - 1]), int(edges[after])
            lit = np.searchsorted(self._on_ms, utc_ms, "right") > np.searchsorted(
                self._off_ms, utc_ms, "right"
            )
            self._same = bool(lit[-1])
            return lit
        return np.full(len(utc_ms), self._same)

    def _work_out(self, first_ms: int, last_ms: int) -> None:
        first = local_date(first_ms, self._time_zone) - timedelta(days=2)
        last = local_date(last_ms, self._time_zone) + timedelta(days=2)
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        on_ms = [local_time_ms(day, self._from_minute, self._time_zone) for day in days]
        off_ms = [local_time_ms(day, self._until_minute, self._time_zone) for day in days]
        self._on_ms, self._off_ms = np.array(on_ms, np.int64), np.array(off_ms, np.int64)
        self._known_ms = (int(self._off_ms[0]), int(self._on_ms[-1]))


class _State(Enum):
    ON = auto()
    OFF = auto()
    UNKNOWN = auto()


class OwnLight:
    """By its own light: on once it has been seen over the dark level for a while, off once under it.

    Patience both ways keeps noise and flicker from counting.  After a silence longer than the patience for
    dark nothing is known: the lamp may have gone off and come on again.
    """

    def __init__(self, settings: RuleSettings) -> None:
        self._dark_hold_ms = round(settings.dark_hold_s * 1000)
        self._warm_up_ms = round(settings.warm_up_s * 1000)
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._state = _State.UNKNOWN
        self._on_since_ms = 0  # means something in state ON only
        self._bright = Hold(settings.lit_hold_s)
        self._dark = Hold(settings.dark_hold_s)

    def settled(self, utc_ms: IntArray, dark: BoolArray, silence_ms: IntArray) -> BoolArray:
        """Return at which samples the lamp should be up to its strength.

        `dark`: the UVI is up to the dark level; `silence_ms` is the time since the sample before.  Samples
        come in order, call after call.
        """
        settled = np.zeros(len(utc_ms), np.bool_)
        for begin, end in runs(dark, silence_ms > self._max_gap_ms):
            self._run(utc_ms, begin, end, not dark[begin], int(silence_ms[begin]), settled)
        return settled

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def restamp(self, step_ms: int) -> None:
        """Move what is remembered of past times along with a step of the clock."""
        self._on_since_ms += step_ms
        self._bright.restamp(step_ms)
        self._dark.restamp(step_ms)

    def _run(
        self,
        utc_ms: IntArray,
        begin: int,
        end: int,
        bright: bool,
        silence_ms: int,
        settled: BoolArray,
    ) -> None:
        """Follow samples that are all bright or all dark, with no silence between them."""
        if silence_ms > self._max_gap_ms:
            self._bright.forget()
            self._dark.forget()
        if silence_ms > self._dark_hold_ms:
            self._state = _State.UNKNOWN
        first_ms = int(utc_ms[begin])
        self._bright.note(bright, first_ms)
        self._dark.note(not bright, first_ms)
        hold, state = (self._bright, _State.ON) if bright else (self._dark, _State.OFF)
        turn = begin if self._state is state else hold.due(utc_ms, begin, end)
        self._fill(utc_ms, begin, turn, settled)
        if turn < end:
            if self._state is not state:
                assert hold.since_ms is not None
                self._state, self._on_since_ms = state, hold.since_ms
            self._fill(utc_ms, turn, end, settled)

    def _fill(self, utc_ms: IntArray, begin: int, end: int, settled: BoolArray) -> None:
        if self._state is _State.ON:
            warm_ms = self._on_since_ms + self._warm_up_ms
            settled[begin + int(np.searchsorted(utc_ms[begin:end], warm_ms)) : end] = True
