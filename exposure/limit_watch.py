"""One limit of a spot's band under watch: opens an event when it is passed, closes it when it is not."""

from dataclasses import dataclass, replace

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import Samples
from exposure.bands import Band
from exposure.events import Event
from exposure.hold import Hold, runs
from exposure.limit_events import OVER, LimitEvents, Side, Worst
from exposure.rules import RuleSettings
from exposure.segments import BoolArray


@dataclass(frozen=True, slots=True)
class Signals:
    """What each sample says of one limit; columns of one length.

    `really` passed, beyond doubt; `probably` passed, by the best estimate; `back`, beyond doubt of one
    standard uncertainty; `off`: the lamp is off, so the limit says nothing.
    """

    really: BoolArray
    probably: BoolArray
    back: BoolArray
    off: BoolArray


_PROBABLY, _BACK, _OFF = 1, 2, 3  # bits of a sample's code; really is bit 0


class LimitWatch:
    """Follows a spot's samples, in order, against one limit.  Same samples, same events, however batched."""

    def __init__(
        self,
        side: Side,
        spot: str,
        limit_uvi: float,
        band: Band,
        settings: RuleSettings,
        *,
        off_words: str,
        event: Event | None,
    ) -> None:
        """Take up `event`, if it is still open, where an earlier watch left off."""
        self._side = side
        self._events = LimitEvents(side, spot, limit_uvi, band, settings.k)
        self._off_words = off_words
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._really = Hold(settings.over_hold_s if side is OVER else settings.under_hold_s)
        self._probably = Hold(settings.probably_over_hold_s)
        self._back = Hold(settings.back_hold_s)
        self.event = event
        self._worst = None if event is None else self._events.worst_of(event)

    @property
    def quiet(self) -> bool:
        """Whether nothing is under way: samples that do not pass the limit need not be followed."""
        return self.event is None and self._really.since_ms is None and self._probably.since_ms is None

    def follow(self, samples: Samples, silence_ms: IntArray, signals: Signals) -> list[tuple[int, Event]]:
        """Return the events that change, each with the index of the sample at which it does.

        `silence_ms` is the time since the sample before; over a long one no hold runs on.
        """
        code = (
            signals.really.view(np.uint8)
            | (signals.probably.view(np.uint8) << _PROBABLY)
            | (signals.back.view(np.uint8) << _BACK)
            | (signals.off.view(np.uint8) << _OFF)
        )
        broken = silence_ms > self._max_gap_ms
        changes: list[tuple[int, Event]] = []
        for begin, end in runs(code, broken):
            if broken[begin]:
                self._forget_holds()
            self._run(samples, begin, end, int(code[begin]), changes)
        return changes

    def acknowledge(self, at_ms: int) -> Event | None:
        """Return the open event as seen by a person, and keep it so; None if none is open."""
        if self.event is not None:
            self.event = self.event.acknowledged(at_ms)
        return self.event

    def expect(self, max_gap_s: float) -> None:
        """Let holds run on over silences up to this long from now on."""
        self._max_gap_ms = round(max_gap_s * 1000)

    def take_up(self, event: Event) -> None:
        """Go on with a newer version of the open event."""
        if self.event is not None and self.event.identity == event.identity:
            self.event = event

    def restamp(self, step_ms: int) -> None:
        """Move what is remembered of past times along with a step of the clock."""
        for hold in (self._really, self._probably, self._back):
            hold.restamp(step_ms)
        if self._worst is not None:
            self._worst = replace(self._worst, at_ms=self._worst.at_ms + step_ms)

    def _forget_holds(self) -> None:
        for hold in (self._really, self._probably, self._back):
            hold.forget()
        if self.event is None:
            self._worst = None

    def _run(
        self, samples: Samples, begin: int, end: int, code: int, changes: list[tuple[int, Event]]
    ) -> None:
        """Follow samples that all say the same, with no silence between them."""
        first_ms = int(samples.utc_ms[begin])
        self._really.note(bool(code & 1), first_ms)
        self._probably.note(bool(code & 1 << _PROBABLY), first_ms)
        self._back.note(bool(code & 1 << _BACK), first_ms)

        if self.event is None:
            begin = self._until_opened(samples, begin, end, changes)
        if self.event is not None and begin < end:
            self._while_open(self.event, samples, begin, end, bool(code & 1 << _OFF), changes)

    def _until_opened(self, samples: Samples, begin: int, end: int, changes: list[tuple[int, Event]]) -> int:
        """Open an event if it is due, and return the index from which to go on."""
        if self.quiet:
            self._worst = None
            return end
        really_at = self._really.due(samples.utc_ms, begin, end)
        at = min(really_at, self._probably.due(samples.utc_ms, begin, end))
        worst = self._note_worst(samples, begin, min(at + 1, end))
        if at == end:
            return end
        certain = really_at == at
        since_ms = (self._really if certain else self._probably).since_ms
        assert since_ms is not None
        self.event = self._events.opened(samples, at, since_ms, worst, certain=certain)
        changes.append((at, self.event))
        return at + 1

    def _while_open(
        self,
        event: Event,
        samples: Samples,
        begin: int,
        end: int,
        off: bool,
        changes: list[tuple[int, Event]],
    ) -> None:
        """Close the open event if that is due, or make it certain."""
        at = begin if off else self._back.due(samples.utc_ms, begin, end)
        if at < end:
            worst = self._note_worst(samples, begin, at + 1)
            back_ms = self._back.since_ms
            closing = self._events.closed(
                event,
                samples,
                at,
                back_ms=int(samples.utc_ms[at]) if back_ms is None else back_ms,
                worst=worst,
                off=self._off_words if off else None,
            )
            changes += [(at, changed) for changed in closing]
            self.event = None
            self._forget_holds()
            return
        if event.severity != self._side.severity:
            at = self._really.due(samples.utc_ms, begin, end)
            if at < end:
                worst = self._note_worst(samples, begin, at + 1)
                assert self._really.since_ms is not None
                self.event = self._events.surer(event, samples, at, self._really.since_ms, worst)
                changes.append((at, self.event))
        self._note_worst(samples, begin, end)

    def _note_worst(self, samples: Samples, begin: int, end: int) -> Worst:
        """Return the worst sample yet, those of `begin` to `end` (at least one) now among them."""
        part = samples.uvi[begin:end]
        at = begin + int(part.argmax() if self._side.sign > 0 else part.argmin())
        uvi = float(samples.uvi[at])
        if self._worst is None or (uvi - self._worst.uvi) * self._side.sign > 0:
            self._worst = Worst(uvi, float(samples.u_uvi[at]), int(samples.utc_ms[at]))
        return self._worst
