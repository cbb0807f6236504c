"""What the events of a plain condition say: that something has been so for a while."""

from dataclasses import dataclass, replace
from typing import Final

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


OFF_BY_DAY: Final = Held(
    EventKind.LAMP_OFF_BY_DAY, "the lamp is dark at a time when it should be lit", "the lamp is lit"
)
ON_AT_NIGHT: Final = Held(
    EventKind.LAMP_ON_AT_NIGHT, "the lamp is lit at a time when it should be off", "the lamp is off"
)
BY_FLAGS: Final = (
    (
        Flag.SATURATED,
        Held(EventKind.SENSOR_SATURATED, "the sensor is at the top of its range", "no longer at its top"),
    ),
    (
        Flag.TEMPERATURE,
        Held(
            EventKind.SENSOR_TEMPERATURE,
            "the sensor is hotter or colder than it was calibrated for, or does not say how warm it is",
            "within the temperatures that it was calibrated for",
        ),
    ),
    (
        Flag.NEGATIVE,
        Held(EventKind.SENSOR_NEGATIVE, "the sensor reads less than in the dark", "no longer under dark"),
    ),
    (
        Flag.MISSING | Flag.SENSOR_FAULT,
        Held(
            EventKind.SENSOR_WITHOUT_VALUE,
            "the board speaks, but its sensor gives no value",
            "the sensor gives values again",
        ),
    ),
    (
        Flag.UNCALIBRATED,
        Held(
            EventKind.CALIBRATION_MISSING,
            "the sensor has no calibration, so its UVI is not known",
            "the sensor is calibrated",
        ),
    ),
    (
        Flag.OTHER_LAMP_KIND,
        Held(
            EventKind.CALIBRATION_OTHER_LAMP,
            "the sensor was calibrated under another kind of lamp",
            "calibrated for this kind of lamp",
        ),
    ),
    (
        Flag.STALE_CALIBRATION,
        Held(
            EventKind.CALIBRATION_ENDED,
            "the sensor's calibration is older than it may be",
            "the calibration is good",
        ),
    ),
)
"""Which flags make which event."""


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

    def grade_of(self, event: Event) -> int:  # noqa: ARG002 - one grade
        """See `signal_watch.Story`."""
        return 0


def _sample_evidence(samples: Samples, at: int) -> dict[str, EvidenceValue]:
    uvi = float(samples.uvi[at])
    flags = Flag(int(samples.flags[at]))
    return {
        "uvi": round(uvi, _DIGITS) if uvi == uvi else None,
        "flags": ",".join(flag.name.lower() for flag in flags if flag.name),
    }
