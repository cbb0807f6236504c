"""When a spot's lamp is to be judged: by the clock where a photoperiod is set, else by its own light."""

from datetime import timedelta
from enum import Enum, auto
from typing import Protocol

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from exposure.days import local_date, local_time_ms
from exposure.hold import Hold, runs
from exposure.rules import RuleSettings
from exposure.segments import BoolArray


class LampLight(Protocol):
    """Tells for each sample whether the lamp should be up to its strength by now, and whether it is off."""

    off_words: str

    def judge(self, utc_ms: IntArray, uvi: FloatArray, silence_ms: IntArray) -> tuple[BoolArray, BoolArray]:
        """Return two columns, `settled` and `off`; neither is true while the lamp warms up.

        `silence_ms` is the time since the sample before; samples come in order, call after call.
        """
        ...

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        ...

    def restamp(self, step_ms: int) -> None:
        """Move what is remembered of past times along with a step of the clock."""
        ...


def lamp_light(settings: RuleSettings) -> LampLight:
    """Return the way to tell that the settings ask for."""
    return OwnLight(settings) if settings.lit_from_minute is None else Photoperiod(settings)


class Photoperiod:
    """By the clock: on from one local time to another, whatever the spot shows."""

    off_words = "the photoperiod ended"

    def __init__(self, settings: RuleSettings) -> None:
        assert settings.lit_from_minute is not None
        assert settings.lit_until_minute is not None
        self._from_minute = settings.lit_from_minute
        over_midnight = settings.lit_until_minute < settings.lit_from_minute
        self._until_minute = settings.lit_until_minute + (1440 if over_midnight else 0)
        self._warm_up_ms = round(settings.warm_up_s * 1000)
        self._time_zone = settings.time_zone
        self._known_ms = (0, 0)  # the span of time for which the edges are worked out
        self._on_ms = self._settled_ms = self._off_ms = np.empty(0, np.int64)

    def judge(self, utc_ms: IntArray, uvi: FloatArray, silence_ms: IntArray) -> tuple[BoolArray, BoolArray]:  # noqa: ARG002 - the clock decides alone
        """See `LampLight`."""
        if not self._known_ms[0] <= utc_ms[0] <= utc_ms[-1] < self._known_ms[1]:
            self._work_out(int(utc_ms[0]), int(utc_ms[-1]))
        ended = np.searchsorted(self._off_ms, utc_ms, "right")
        settled = np.searchsorted(self._settled_ms, utc_ms, "right") > ended
        off = np.searchsorted(self._on_ms, utc_ms, "right") <= ended
        return settled, off

    def expect(self, max_gap_s: float) -> None:
        """See `LampLight`; silences do not matter."""

    def restamp(self, step_ms: int) -> None:
        """See `LampLight`; nothing is remembered."""

    def _work_out(self, first_ms: int, last_ms: int) -> None:
        first = local_date(first_ms, self._time_zone) - timedelta(days=2)
        last = local_date(last_ms, self._time_zone) + timedelta(days=2)
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        on_ms = [local_time_ms(day, self._from_minute, self._time_zone) for day in days]
        off_ms = [local_time_ms(day, self._until_minute, self._time_zone) for day in days]
        self._on_ms, self._off_ms = np.array(on_ms, np.int64), np.array(off_ms, np.int64)
        # A photoperiod shorter than the warm-up has no settled time.
        self._settled_ms = np.minimum(self._on_ms + self._warm_up_ms, self._off_ms)
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

    off_words = "the lamp went off"

    def __init__(self, settings: RuleSettings) -> None:
        self._dark_uvi = settings.dark_uvi
        self._dark_hold_ms = round(settings.dark_hold_s * 1000)
        self._warm_up_ms = round(settings.warm_up_s * 1000)
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._state = _State.UNKNOWN
        self._on_since_ms = 0  # means something in state ON only
        self._bright = Hold(settings.lit_hold_s)
        self._dark = Hold(settings.dark_hold_s)

    def judge(self, utc_ms: IntArray, uvi: FloatArray, silence_ms: IntArray) -> tuple[BoolArray, BoolArray]:
        """See `LampLight`."""
        bright = uvi > self._dark_uvi
        n = len(utc_ms)
        settled, off = np.zeros(n, np.bool_), np.zeros(n, np.bool_)
        for begin, end in runs(bright, silence_ms > self._max_gap_ms):
            self._run(utc_ms, begin, end, bool(bright[begin]), int(silence_ms[begin]), settled, off)
        return settled, off

    def expect(self, max_gap_s: float) -> None:
        """See `LampLight`."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def restamp(self, step_ms: int) -> None:
        """See `LampLight`."""
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
        off: BoolArray,
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
        self._fill(utc_ms, begin, turn, settled, off)
        if turn < end:
            if self._state is not state:
                assert hold.since_ms is not None
                self._state, self._on_since_ms = state, hold.since_ms
            self._fill(utc_ms, turn, end, settled, off)

    def _fill(self, utc_ms: IntArray, begin: int, end: int, settled: BoolArray, off: BoolArray) -> None:
        if self._state is _State.OFF:
            off[begin:end] = True
        elif self._state is _State.ON:
            warm_ms = self._on_since_ms + self._warm_up_ms
            settled[begin + int(np.searchsorted(utc_ms[begin:end], warm_ms)) : end] = True
