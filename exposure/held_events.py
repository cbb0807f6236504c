"""What the events of a plain condition say: that something has been so for a while."""

from dataclasses import dataclass, replace

from calibrate.samples import Flag, Samples
from exposure.events import Event, EventKind, EvidenceValue, Severity
from exposure.kinds import KINDS, new_event
from exposure.signal_watch import Worst
from exposure.wording import duration_text

_DIGITS = 4  # of a UVI in the evidence: far below every uncertainty


@dataclass(frozen=True, slots=True)
class Held:
    """A kind of event, what is so in words, and what is so once it is over."""

    kind: EventKind
    words: str
    words_back: str


class HeldEvents:
    """Writes the events of one such condition of one spot; a `signal_watch.Story` with a single grade."""

    sign = 0

    def __init__(self, held: Held, spot: str) -> None:
        self.severities: tuple[Severity, ...] = (KINDS[held.kind].severity,)
        self._held = held
        self._spot = spot

    def opened(self, samples: Samples, at: int, since_ms: int, worst: Worst | None, grade: int) -> Event:  # noqa: ARG002 - one grade, no worst
        """See `signal_watch.Story`."""
        at_ms = int(samples.utc_ms[at])
        held_s = (at_ms - since_ms) / 1000
        return new_event(
            self._held.kind,
            self._spot,
            at_ms,
            f"{self._held.words}, for {duration_text(held_s)} now",
            {**_sample_evidence(samples, at), "since_ms": since_ms, "held_s": held_s},
        )

    def closed(
        self,
        event: Event,
        samples: Samples,
        at: int,
        back_ms: int,
        worst: Worst | None,  # noqa: ARG002 - there is none
        *,
        off: str | None,
    ) -> list[Event]:
        """See `signal_watch.Story`."""
        evidence = {**event.evidence, "lasted_s": (back_ms - event.opened_ms) / 1000}
        why = off or self._held.words_back
        return [replace(event, evidence=evidence).closed(int(samples.utc_ms[at]), why)]

    def worst_of(self, event: Event) -> Worst | None:  # noqa: ARG002 - there is no worst
        """See `signal_watch.Story`."""
        return None


def _sample_evidence(samples: Samples, at: int) -> dict[str, EvidenceValue]:
    uvi = float(samples.uvi[at])
    flags = Flag(int(samples.flags[at]))
    return {
        "uvi": round(uvi, _DIGITS) if uvi == uvi else None,
        "flags": ",".join(flag.name.lower() for flag in flags if flag.name),
    }
