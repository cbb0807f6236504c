"""What the events of a limit say: their words, numbers and evidence."""

from dataclasses import dataclass, replace

from calibrate.samples import AT_LEAST, Flag, Samples
from exposure.bands import Band
from exposure.events import Event, EventKind, EvidenceValue, Severity
from exposure.kinds import new_event
from exposure.placement import raising_advice
from exposure.signal_watch import Worst
from exposure.wording import duration_text, uvi_text

_DIGITS = 4  # of a UVI in the evidence: far below every uncertainty


@dataclass(frozen=True, slots=True)
class Grade:
    """A standard by which a limit is passed: its name in the evidence, its words, its severity."""

    certainty: str
    words: str
    severity: Severity


@dataclass(frozen=True, slots=True)
class Side:
    """What differs between the limits of a band; `grades` the gravest first, as the watch has them."""

    kind: EventKind
    sign: int  # +1: the highest UVI is the worst; -1: the lowest
    grades: tuple[Grade, ...]
    preposition: str
    words: str
    words_back: str
    worst: str  # names the worst value in the evidence


OVER = Side(
    kind=EventKind.OVER_CEILING,
    sign=+1,
    grades=(
        Grade("far", "far above the ceiling", Severity.NOW),
        Grade("really", "above the ceiling", Severity.NOW),
        Grade("extrapolated", "above the ceiling by a value beyond what was calibrated", Severity.NOW),
        Grade("probably", "probably above the ceiling", Severity.TODAY),
    ),
    preposition="over",
    words="above the ceiling",
    words_back="back under the ceiling",
    worst="highest",
)
ABOVE = Side(
    kind=EventKind.ABOVE_BAND,
    sign=+1,
    grades=(
        Grade("really", "above the band", Severity.TODAY),
        Grade("extrapolated", "above the band by a value beyond what was calibrated", Severity.TODAY),
    ),
    preposition="over",
    words="above the band",
    words_back="no longer above the band",
    worst="highest",
)
UNDER = Side(
    kind=EventKind.UNDER_BAND,
    sign=-1,
    grades=(Grade("really", "below the band", Severity.TODAY),),
    preposition="under",
    words="below the band",
    words_back="no longer below the band",
    worst="lowest",
)


class LimitEvents:
    """Writes the events of one limit of one spot; a `signal_watch.Story`."""

    def __init__(
        self, side: Side, spot: str, limit_uvi: float, band: Band, k: float, lamp_cm: float | None = None
    ) -> None:
        """`lamp_cm` is how far the lamp hangs, where that is known."""
        self.sign = side.sign
        self.severities = tuple(grade.severity for grade in side.grades)
        self._side = side
        self._spot = spot
        self._limit_uvi = limit_uvi
        self._band = band
        self._k = k
        self._lamp_cm = lamp_cm

    def opened(self, samples: Samples, at: int, since_ms: int, worst: Worst | None, grade: int) -> Event:
        """See `signal_watch.Story`."""
        event = new_event(
            self._side.kind,
            self._spot,
            int(samples.utc_ms[at]),
            self._sentence(samples, at, grade),
            self._evidence(samples, at, since_ms, worst, grade),
            severity=self.severities[grade],
        )
        at_least = int(samples.flags[at]) & AT_LEAST  # who knows how much more
        if self._lamp_cm is None or self.sign < 0 or at_least:
            return event
        farther = raising_advice(self._lamp_cm, float(samples.uvi[at]), self._band.high_uvi)
        return replace(event, advice=event.advice + farther)

    def closed(
        self, event: Event, samples: Samples, at: int, back_ms: int, worst: Worst | None, *, off: str | None
    ) -> list[Event]:
        """See `signal_watch.Story`; a note says if the spot is back where it should be."""
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
        back = new_event(
            EventKind.BACK_IN_BAND,
            self._spot,
            at_ms,
            f"back in the band, {reading} in {self._band.low_uvi:g} to {self._band.high_uvi:g} "
            f"(k = {self._k:g}), after {duration_text(lasted_s)} {self._side.words}",
            {**self._sample_evidence(samples, at), "after": closed.identity, "lasted_s": lasted_s},
        )
        return [closed, back.closed(at_ms, "a note")]

    def worst_of(self, event: Event) -> Worst | None:
        """See `signal_watch.Story`."""
        uvi, u_uvi, at_ms = (event.evidence.get(key) for key in self._worst_keys())
        if isinstance(uvi, float) and isinstance(u_uvi, float) and isinstance(at_ms, int):
            return Worst(uvi, u_uvi, at_ms)
        return None

    def grade_of(self, event: Event) -> int:
        """See `signal_watch.Story`."""
        told = event.evidence.get("certainty")
        return next(
            (at for at, grade in enumerate(self._side.grades) if grade.certainty == told),
            len(self._side.grades) - 1,
        )

    def _reading(self, samples: Samples, at: int) -> str:
        at_least = bool(int(samples.flags[at]) & AT_LEAST)
        return uvi_text(float(samples.uvi[at]), float(samples.u_uvi[at]), self._k, at_least=at_least)

    def _sentence(self, samples: Samples, at: int, grade: int) -> str:
        return (
            f"{self._side.grades[grade].words}, {self._reading(samples, at)} "
            f"{self._side.preposition} {self._limit_uvi:g} (k = {self._k:g})"
        )

    def _evidence(
        self, samples: Samples, at: int, since_ms: int, worst: Worst | None, grade: int
    ) -> dict[str, EvidenceValue]:
        return {
            **self._sample_evidence(samples, at),
            "limit_uvi": self._limit_uvi,
            "certainty": self._side.grades[grade].certainty,
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

    def _worst_evidence(self, worst: Worst | None) -> dict[str, EvidenceValue]:
        if worst is None:
            return {}
        values = (round(worst.uvi, _DIGITS), round(worst.u_uvi, _DIGITS), worst.at_ms)
        return dict(zip(self._worst_keys(), values, strict=True))

    def _worst_keys(self) -> tuple[str, str, str]:
        name = self._side.worst
        return f"{name}_uvi", f"u_{name}_uvi", f"{name}_ms"
