"""A sensor that repeats itself: the same UVI to the last digit for hours, under a lamp that is lit."""

from dataclasses import replace

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import Samples
from exposure.events import Event, EventKind
from exposure.kinds import new_event
from exposure.one_event import OneEvent
from exposure.rules import RuleSettings
from exposure.segments import BoolArray
from exposure.wording import duration_text


class StuckWatch(OneEvent):
    """Opens an event when a lit spot's UVI has not changed in its last digit for `stuck_hold_s`.

    It closes with the first other value.  In the dark a sensor may well say zero all night.  A stuck sensor
    whose UVI still moves with its temperature is not found by this.
    """

    def __init__(self, spot: str, settings: RuleSettings, event: Event | None) -> None:
        """Take up `event` where an earlier watch left off."""
        super().__init__(event)
        self._spot = spot
        self._dark_uvi = settings.dark_uvi
        self._hold_ms = round(settings.stuck_hold_s * 1000)
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._uvi = float("nan")
        self._since_ms = 0
        if event is not None:
            uvi, since_ms = event.evidence.get("uvi"), event.evidence.get("since_ms")
            if isinstance(uvi, float) and isinstance(since_ms, int):
                self._uvi, self._since_ms = uvi, since_ms

    def follow(self, samples: Samples, silence_ms: IntArray) -> list[tuple[int, Event]]:
        """Return the events that change, each with the index of the sample at which it does."""
        if len(samples) == 1:
            uvi = float(samples.uvi[0])
            news = uvi != self._uvi or int(silence_ms[0]) > self._max_gap_ms
            at_ms = int(samples.utc_ms[0])
            if self.event is None and (news or at_ms - self._since_ms < self._hold_ms):
                if news:
                    self._uvi, self._since_ms = uvi, at_ms
                return []
            return self._follow(samples, np.array([news]))
        news_column = np.empty(len(samples), np.bool_)
        news_column[0] = samples.uvi[0] != self._uvi
        np.not_equal(samples.uvi[1:], samples.uvi[:-1], out=news_column[1:])
        news_column |= silence_ms > self._max_gap_ms
        return self._follow(samples, news_column)

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def restamp(self, step_ms: int) -> None:
        """See `OneEvent`."""
        self._since_ms += step_ms

    def _follow(self, samples: Samples, news: BoolArray) -> list[tuple[int, Event]]:
        changes: list[tuple[int, Event]] = []
        begins = np.flatnonzero(news)
        was_open = self.event is not None
        if was_open and len(begins):
            self._close(samples, int(begins[0]), changes)
        since_ms = samples.utc_ms[begins]
        uvi = samples.uvi[begins]
        if len(begins) == 0 or begins[0] > 0:  # the value from before goes on
            begins = np.append(0, begins)
            since_ms, uvi = np.append(self._since_ms, since_ms), np.append(self._uvi, uvi)
        ends = np.append(begins[1:], len(samples))
        due = (samples.utc_ms[ends - 1] - since_ms >= self._hold_ms) & (uvi > self._dark_uvi)
        if was_open and begins[0] == 0 and not news[0]:
            due[0] = False  # what goes on is known
        for run in np.flatnonzero(due).tolist():
            begin, end = int(begins[run]), int(ends[run])
            at = begin + int(np.searchsorted(samples.utc_ms[begin:end], since_ms[run] + self._hold_ms))
            self._open(samples, at, int(since_ms[run]), changes)
            if end < len(samples):
                self._close(samples, end, changes)
        self._uvi, self._since_ms = float(uvi[-1]), int(since_ms[-1])
        return changes

    def _open(self, samples: Samples, at: int, since_ms: int, changes: list[tuple[int, Event]]) -> None:
        uvi, at_ms = float(samples.uvi[at]), int(samples.utc_ms[at])
        held_s = (at_ms - since_ms) / 1000
        self.event = new_event(
            EventKind.SENSOR_STUCK,
            self._spot,
            at_ms,
            f"the sensor says {uvi:.2f} to the last digit for {duration_text(held_s)} now",
            {"uvi": uvi, "since_ms": since_ms, "held_s": held_s},
        )
        changes.append((at, self.event))

    def _close(self, samples: Samples, at: int, changes: list[tuple[int, Event]]) -> None:
        assert self.event is not None
        event, self.event = self.event, None
        if event.is_open:
            at_ms = int(samples.utc_ms[at])
            evidence = {**event.evidence, "lasted_s": (at_ms - event.opened_ms) / 1000}
            changes.append((at, replace(event, evidence=evidence).closed(at_ms, "the value moves again")))
