"""One limit of a spot's band under watch: opens an event when it is passed, closes it when it is not."""

from dataclasses import dataclass, replace

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import AT_LEAST, Flag, Samples
from exposure.bands import Band
from exposure.events import Event, EventKind, EvidenceValue, Severity, event_identity
from exposure.hold import Hold, runs
from exposure.rules import RuleSettings
from exposure.segments import BoolArray
from exposure.wording import BACK_ADVICE, OVER_ADVICE, UNDER_ADVICE, duration_text, uvi_text


@dataclass(frozen=True, slots=True)
class Side:
    """What differs between the watch over the ceiling and the one under the band."""

    kind: EventKind
    sign: int  # +1: the highest UVI is the worst; -1: the lowest
    severity: Severity
    words: str
    preposition: str
    words_back: str
    worst: str  # names the worst value in the evidence
    advice: str


OVER = Side(
    kind=EventKind.OVER_CEILING,
    sign=+1,
    severity=Severity.NOW,
    words="above the ceiling",
    preposition="over",
    words_back="back under the ceiling",
    worst="highest",
    advice=OVER_ADVICE,
)
UNDER = Side(
    kind=EventKind.UNDER_BAND,
    sign=-1,
    severity=Severity.TODAY,
    words="below the band",
    preposition="under",
    words_back="no longer below the band",
    worst="lowest",
    advice=UNDER_ADVICE,
)


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


_DIGITS = 4  # of a UVI in the evidence: far below every uncertainty
_PROBABLY, _BACK, _OFF = 1, 2, 3  # bits of a sample's code; really is bit 0


@dataclass(frozen=True, slots=True)
class Worst:
    """The sample that passed the limit furthest."""

    uvi: float
    u_uvi: float
    at_ms: int


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
        self._spot = spot
        self._limit_uvi = limit_uvi
        self._band = band
        self._k = settings.k
        self._off_words = off_words
        self._max_gap_ms = round(settings.max_gap_s * 1000)
        self._really = Hold(settings.over_hold_s if side is OVER else settings.under_hold_s)
        self._probably = Hold(settings.probably_over_hold_s)
        self._back = Hold(settings.back_hold_s)
        self.event = event
        self._worst = None if event is None else self._worst_known(event)

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
        utc_ms = samples.utc_ms
        first_ms = int(utc_ms[begin])
        self._really.note(bool(code & 1), first_ms)
        self._probably.note(bool(code & 1 << _PROBABLY), first_ms)
        self._back.note(bool(code & 1 << _BACK), first_ms)

        if self.event is None:
            really_at = self._really.due(utc_ms, begin, end)
            at = min(really_at, self._probably.due(utc_ms, begin, end))
            if self.quiet:
                self._worst = None
                return
            self._note_worst(samples, begin, min(at + 1, end))
            if at == end:
                return
            self.event = self._opened(samples, at, certain=really_at == at)
            changes.append((at, self.event))
            begin = at + 1

        off = bool(code & 1 << _OFF)
        at = begin if off else self._back.due(utc_ms, begin, end)
        if at < end:
            self._note_worst(samples, begin, at + 1)
            changes += self._closed(samples, at, off=off)
            return
        if self.event.severity != self._side.severity:
            at = self._really.due(utc_ms, begin, end)
            if at < end:
                self._note_worst(samples, begin, at + 1)
                self.event = self._surer(self.event, samples, at)
                changes.append((at, self.event))
                begin = at + 1
        self._note_worst(samples, begin, end)

    def _note_worst(self, samples: Samples, begin: int, end: int) -> None:
        if begin >= end:
            return
        part = samples.uvi[begin:end]
        at = begin + int(part.argmax() if self._side.sign > 0 else part.argmin())
        uvi = float(samples.uvi[at])
        if self._worst is None or (uvi - self._worst.uvi) * self._side.sign > 0:
            self._worst = Worst(uvi, float(samples.u_uvi[at]), int(samples.utc_ms[at]))

    def _worst_known(self, event: Event) -> Worst | None:
        """Return what an event taken up from the store says of its worst sample."""
        uvi, u_uvi, at_ms = (event.evidence.get(key) for key in self._worst_keys())
        if isinstance(uvi, float) and isinstance(u_uvi, float) and isinstance(at_ms, int):
            return Worst(uvi, u_uvi, at_ms)
        return None

    def _worst_keys(self) -> tuple[str, str, str]:
        name = self._side.worst
        return f"{name}_uvi", f"u_{name}_uvi", f"{name}_ms"

    def _opened(self, samples: Samples, at: int, *, certain: bool) -> Event:
        at_ms = int(samples.utc_ms[at])
        return Event(
            identity=event_identity(self._side.kind, self._spot, at_ms),
            kind=self._side.kind,
            subject_kind="spot",
            subject=self._spot,
            severity=self._side.severity if certain else Severity.TODAY,
            opened_ms=at_ms,
            sentence=self._sentence(samples, at, certain=certain),
            advice=self._side.advice,
            evidence=self._evidence(samples, at, certain=certain),
        )

    def _surer(self, event: Event, samples: Samples, at: int) -> Event:
        """Return a probable event as a certain one, to be looked at anew."""
        return replace(
            event,
            severity=self._side.severity,
            sentence=self._sentence(samples, at, certain=True),
            evidence=self._evidence(samples, at, certain=True),
            acknowledged_ms=None,
        )

    def _closed(self, samples: Samples, at: int, *, off: bool) -> list[tuple[int, Event]]:
        """Close the open event, and note it if the spot is back where it should be."""
        assert self.event is not None
        at_ms, uvi, u_uvi = int(samples.utc_ms[at]), float(samples.uvi[at]), float(samples.u_uvi[at])
        reading = self._reading(samples, at)
        back_ms = at_ms if self._back.since_ms is None else self._back.since_ms
        lasted_s = (back_ms - self.event.opened_ms) / 1000
        evidence = {
            **self.event.evidence,
            **self._worst_evidence(),
            "closing_uvi": round(uvi, _DIGITS),
            "u_closing_uvi": round(u_uvi, _DIGITS),
            "lasted_s": lasted_s,
        }
        why = self._off_words if off else f"{self._side.words_back}, {reading} (k = {self._k:g})"
        closed = replace(self.event, evidence=evidence).closed(at_ms, why)
        self.event = None
        self._forget_holds()
        changes = [(at, closed)]
        if not off and self._band.low_uvi <= uvi <= self._band.high_uvi:
            back = Event(
                identity=event_identity(EventKind.BACK_IN_BAND, self._spot, at_ms),
                kind=EventKind.BACK_IN_BAND,
                subject_kind="spot",
                subject=self._spot,
                severity=Severity.NOTE,
                opened_ms=at_ms,
                sentence=(
                    f"back in the band, {reading} in {self._band.low_uvi:g} to {self._band.high_uvi:g} "
                    f"(k = {self._k:g}), after {duration_text(lasted_s)} {self._side.words}"
                ),
                advice=BACK_ADVICE,
                evidence={
                    **self._sample_evidence(samples, at),
                    "after": closed.identity,
                    "lasted_s": lasted_s,
                },
            )
            changes.append((at, back.closed(at_ms, "a note")))
        return changes

    def _reading(self, samples: Samples, at: int) -> str:
        at_least = bool(int(samples.flags[at]) & AT_LEAST)
        return uvi_text(float(samples.uvi[at]), float(samples.u_uvi[at]), self._k, at_least=at_least)

    def _sentence(self, samples: Samples, at: int, *, certain: bool) -> str:
        return (
            f"{'' if certain else 'probably '}{self._side.words}, {self._reading(samples, at)} "
            f"{self._side.preposition} {self._limit_uvi:g} (k = {self._k:g})"
        )

    def _evidence(self, samples: Samples, at: int, *, certain: bool) -> dict[str, EvidenceValue]:
        since_ms = (self._really if certain else self._probably).since_ms
        assert since_ms is not None
        return {
            **self._sample_evidence(samples, at),
            "limit_uvi": self._limit_uvi,
            "certainty": "really" if certain else "probably",
            "since_ms": since_ms,
            "held_s": (int(samples.utc_ms[at]) - since_ms) / 1000,
            **self._worst_evidence(),
        }

    def _sample_evidence(self, samples: Samples, at: int) -> dict[str, EvidenceValue]:
        flags = Flag(int(samples.flags[at]))
        return {
            "uvi": round(float(samples.uvi[at]), _DIGITS),
            "u_uvi": round(float(samples.u_uvi[at]), _DIGITS),
            "k": self._k,
            "at_least": bool(flags & AT_LEAST),
            "flags": ",".join(flag.name.lower() for flag in flags if flag.name),
            "band_low_uvi": self._band.low_uvi,
            "band_high_uvi": self._band.high_uvi,
            "ceiling_uvi": self._band.ceiling_uvi,
        }

    def _worst_evidence(self) -> dict[str, EvidenceValue]:
        if self._worst is None:
            return {}
        values = (round(self._worst.uvi, _DIGITS), round(self._worst.u_uvi, _DIGITS), self._worst.at_ms)
        return dict(zip(self._worst_keys(), values, strict=True))
