"""What the events of a limit say: their words, numbers and evidence."""

from dataclasses import dataclass, replace

from calibrate.samples import AT_LEAST, Flag, Samples
from exposure.bands import Band
from exposure.events import Event, EventKind, EvidenceValue, Severity, event_identity
from exposure.wording import BACK_ADVICE, OVER_ADVICE, UNDER_ADVICE, duration_text, uvi_text

_DIGITS = 4  # of a UVI in the evidence: far below every uncertainty


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
class Worst:
    """The sample that passed the limit furthest."""

    uvi: float
    u_uvi: float
    at_ms: int


class LimitEvents:
    """Writes the events of one limit of one spot."""

    def __init__(self, side: Side, spot: str, limit_uvi: float, band: Band, k: float) -> None:
        self._side = side
        self._spot = spot
        self._limit_uvi = limit_uvi
        self._band = band
        self._k = k

    def opened(self, samples: Samples, at: int, since_ms: int, worst: Worst, *, certain: bool) -> Event:
        """Return the event that opens at the sample `at`, the limit passed since `since_ms`."""
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
            evidence=self._evidence(samples, at, since_ms, worst, certain=certain),
        )

    def surer(self, event: Event, samples: Samples, at: int, since_ms: int, worst: Worst) -> Event:
        """Return a probable event as a certain one, to be looked at anew."""
        return replace(
            event,
            severity=self._side.severity,
            sentence=self._sentence(samples, at, certain=True),
            evidence=self._evidence(samples, at, since_ms, worst, certain=True),
            acknowledged_ms=None,
        )

    def closed(
        self, event: Event, samples: Samples, at: int, back_ms: int, worst: Worst, *, off: str | None
    ) -> list[Event]:
        """Return the event closed at the sample `at`, and a note if the spot is back where it should be.

        `back_ms` is since when the limit has no longer been passed; `off` says why the limit no longer
        counts, None if the UVI itself came back.
        """
        at_ms, uvi, u_uvi = int(samples.utc_ms[at]), float(samples.uvi[at]), float(samples.u_uvi[at])
        reading = self._reading(samples, at)
        lasted_s = (back_ms - event.opened_ms) / 1000
        evidence = {
            **event.evidence,
            **self._worst_evidence(worst),
            "closing_uvi": round(uvi, _DIGITS),
            "u_closing_uvi": round(u_uvi, _DIGITS),
            "lasted_s": lasted_s,
        }
        why = off or f"{self._side.words_back}, {reading} (k = {self._k:g})"
        closed = replace(event, evidence=evidence).closed(at_ms, why)
        if off or not self._band.low_uvi <= uvi <= self._band.high_uvi:
            return [closed]
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
            evidence={**self._sample_evidence(samples, at), "after": closed.identity, "lasted_s": lasted_s},
        )
        return [closed, back.closed(at_ms, "a note")]

    def worst_of(self, event: Event) -> Worst | None:
        """Return what an event taken up from the store says of its worst sample."""
        uvi, u_uvi, at_ms = (event.evidence.get(key) for key in self._worst_keys())
        if isinstance(uvi, float) and isinstance(u_uvi, float) and isinstance(at_ms, int):
            return Worst(uvi, u_uvi, at_ms)
        return None

    def _reading(self, samples: Samples, at: int) -> str:
        at_least = bool(int(samples.flags[at]) & AT_LEAST)
        return uvi_text(float(samples.uvi[at]), float(samples.u_uvi[at]), self._k, at_least=at_least)

    def _sentence(self, samples: Samples, at: int, *, certain: bool) -> str:
        return (
            f"{'' if certain else 'probably '}{self._side.words}, {self._reading(samples, at)} "
            f"{self._side.preposition} {self._limit_uvi:g} (k = {self._k:g})"
        )

    def _evidence(
        self, samples: Samples, at: int, since_ms: int, worst: Worst, *, certain: bool
    ) -> dict[str, EvidenceValue]:
        return {
            **self._sample_evidence(samples, at),
            "limit_uvi": self._limit_uvi,
            "certainty": "really" if certain else "probably",
            "since_ms": since_ms,
            "held_s": (int(samples.utc_ms[at]) - since_ms) / 1000,
            **self._worst_evidence(worst),
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

    def _worst_evidence(self, worst: Worst) -> dict[str, EvidenceValue]:
        values = (round(worst.uvi, _DIGITS), round(worst.u_uvi, _DIGITS), worst.at_ms)
        return dict(zip(self._worst_keys(), values, strict=True))

    def _worst_keys(self) -> tuple[str, str, str]:
        name = self._side.worst
        return f"{name}_uvi", f"u_{name}_uvi", f"{name}_ms"
