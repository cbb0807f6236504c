"""What is the same for all events of a kind: how soon to look, a few words for a label, what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from exposure.events import Event, EventKind, EvidenceValue, Severity, event_identity


@dataclass(frozen=True, slots=True)
class KindFacts:
    """The usual severity of a kind, its `short` name, and its `advice`: one sentence, safe to follow."""

    severity: Severity
    short: str
    advice: str


_UNPLUG = "unplug the lamp before touching it"
_SENSOR = "until then take this spot's UVI for unknown"

KINDS: Final[Mapping[EventKind, KindFacts]] = {
    EventKind.OVER_CEILING: KindFacts(
        Severity.NOW,
        "over the ceiling",
        "Unplug the lamp before touching it (it is hot, and its UV hurts eyes), raise it or lower the "
        "basking place, check with a hand-held meter, and ask a reptile veterinarian if the animal seems "
        "unwell: nothing is switched for you",
    ),
    EventKind.ABOVE_BAND: KindFacts(
        Severity.TODAY,
        "above the band",
        f"Check the distance with a hand-held meter and see that the animal can get away to shade; "
        f"{_UNPLUG}, and raise it or lower the basking place if the UVI stays above what you want",
    ),
    EventKind.UNDER_BAND: KindFacts(
        Severity.TODAY,
        "under the band",
        "See whether a plant, the mesh or dirt shades the spot or its sensor, then check the lamp's age and "
        f"distance with a hand-held meter, and {_UNPLUG}",
    ),
    EventKind.BACK_IN_BAND: KindFacts(Severity.NOTE, "back in band", "Nothing to do"),
    EventKind.DOSE_LOW: KindFacts(
        Severity.NOTE,
        "little dose",
        "See how long the lamp was on and whether anything shaded the spot, and do not make up for it with "
        "more another day",
    ),
    EventKind.DOSE_HIGH: KindFacts(
        Severity.TODAY,
        "much dose",
        "See whether the lamp was on for longer or stands closer than usual, that the animal has shade to go "
        f"to, and {_UNPLUG}",
    ),
    EventKind.LAMP_OFF_BY_DAY: KindFacts(
        Severity.TODAY,
        "lamp off by day",
        "Check the timer and its clock first, then the plug; unplug the lamp and let it cool before touching "
        "it, and if it does burn, look at the sensor",
    ),
    EventKind.LAMP_ON_AT_NIGHT: KindFacts(
        Severity.TODAY,
        "lamp on at night",
        "Check the timer and its clock, and switch the lamp off by hand for the night",
    ),
    EventKind.LAMP_FLICKERS: KindFacts(
        Severity.TODAY,
        "lamp flickers",
        "Unplug the lamp and let it cool, then see whether it sits firmly in its holder, whether it gets too "
        "hot and cuts out, and whether timer and plug make good contact; replace it if it goes on",
    ),
    EventKind.LAMP_WARMS_UP_SLOWLY: KindFacts(
        Severity.NOTE,
        "lamp slow to warm up",
        "Watch whether it goes on: a cold room does this, and so does a lamp near its end or its ballast",
    ),
    EventKind.LAMP_RISING: KindFacts(
        Severity.NOTE,
        "lamp rising",
        f"Check the spot with a hand-held meter, plan to raise the lamp or replace it in time, and {_UNPLUG}",
    ),
    EventKind.LAMP_FADING: KindFacts(
        Severity.NOTE,
        "lamp fading",
        "Clean lamp and sensor and check the spot with a hand-held meter, have a new lamp ready in time, and "
        f"{_UNPLUG}",
    ),
    EventKind.LEVEL_STEPPED: KindFacts(
        Severity.TODAY,
        "level stepped",
        "See what changed that day: a plant, the mesh, dirt, a moved lamp, spot or sensor; if you changed "
        "the lamp or its distance, tell it to baskline, so that a new baseline begins",
    ),
    EventKind.SENSOR_STUCK: KindFacts(
        Severity.TODAY,
        "sensor stuck",
        f"Unplug the board's USB and plug it in again, and replace the sensor if it stays stuck; {_SENSOR}",
    ),
    EventKind.SENSOR_SATURATED: KindFacts(
        Severity.TODAY,
        "sensor saturated",
        "Lower the sensor's gain or put more diffuser over it and calibrate it anew; the true UVI may be "
        "much higher than shown, so check it with a hand-held meter",
    ),
    EventKind.SENSOR_TEMPERATURE: KindFacts(
        Severity.TODAY,
        "sensor too hot or cold",
        "Check that the sensor and its thermometer answer and that the lamp does not heat them, move them "
        "out of the heat or calibrate at such temperatures, and trust its UVI less until then",
    ),
    EventKind.SENSOR_NEGATIVE: KindFacts(
        Severity.NOTE,
        "sensor under dark",
        f"Cover the sensor and see whether it still reads below its dark level, then calibrate "
        f"anew; {_SENSOR}",
    ),
    EventKind.SENSOR_WITHOUT_VALUE: KindFacts(
        Severity.TODAY,
        "sensor gives no value",
        f"Unplug the board's USB and check the sensor's wires and plug; {_SENSOR}, which is not the same as "
        "no UV",
    ),
    EventKind.CALIBRATION_MISSING: KindFacts(
        Severity.TODAY,
        "no calibration",
        "Calibrate the sensor against a hand-held meter and name the calibration file at this spot; until "
        "then nothing is known of its UVI",
    ),
    EventKind.CALIBRATION_OTHER_LAMP: KindFacts(
        Severity.TODAY,
        "calibrated under another lamp",
        "Calibrate the sensor under the kind of lamp that hangs here: until then its UVI may be wrong "
        "several times over",
    ),
    EventKind.CALIBRATION_DUE: KindFacts(
        Severity.NOTE,
        "calibration due",
        "Plan to check the sensor against a hand-held meter before its calibration ends",
    ),
    EventKind.CALIBRATION_ENDED: KindFacts(
        Severity.TODAY,
        "calibration ended",
        "Check the sensor against a hand-held meter and calibrate it anew, and trust its UVI less until then",
    ),
    EventKind.CHECK_OVERDUE: KindFacts(
        Severity.NOTE,
        "check overdue",
        "Hold a hand-held meter beside the sensor, with the lamp warm and glasses on that stop UV, and type "
        "in what it shows",
    ),
    EventKind.CHECK_OUT: KindFacts(
        Severity.TODAY,
        "check failed",
        "Clean lamp and sensor and check again with the meter beside the sensor, calibrate the sensor anew "
        "if they still disagree, and trust the meter until then",
    ),
    EventKind.BOARD_SILENT: KindFacts(
        Severity.TODAY,
        "board silent",
        "Check the board's USB plug and cable and whether its light is on: until it speaks again nothing is "
        "known of its spots, which is not the same as no UV",
    ),
    EventKind.BOARD_RESTARTING: KindFacts(
        Severity.TODAY,
        "board keeps restarting",
        "Check the board's USB cable and power supply, and put in a shorter cable or a powered hub",
    ),
    EventKind.BOARD_CLOCK_WRONG: KindFacts(
        Severity.TODAY,
        "board's clock wrong",
        "Unplug the board's USB and plug it in again, and flash its program anew if it goes on: the times of "
        "its readings may be wrong",
    ),
}


def new_event(
    kind: EventKind,
    subject: str,
    at_ms: int,
    sentence: str,
    evidence: Mapping[str, EvidenceValue],
    *,
    severity: Severity | None = None,
    subject_kind: Literal["spot", "board"] = "spot",
) -> Event:
    """Return an event that opens at `at_ms`; its severity is the kind's usual one unless given."""
    facts = KINDS[kind]
    return Event(
        identity=event_identity(kind, subject, at_ms),
        kind=kind,
        subject_kind=subject_kind,
        subject=subject,
        severity=facts.severity if severity is None else severity,
        opened_ms=at_ms,
        sentence=sentence,
        advice=facts.advice,
        evidence=evidence,
    )
