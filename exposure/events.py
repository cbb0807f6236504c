"""Events: what a keeper must know.  Each opens, may be acknowledged, and closes."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Literal, TypeAlias

EvidenceValue: TypeAlias = str | float | int | bool | None


class EventKind(StrEnum):
    """Kinds of event, in plain words."""

    OVER_CEILING = "over_ceiling"
    ABOVE_BAND = "above_band"  # over the band, under the ceiling
    UNDER_BAND = "under_band"
    BACK_IN_BAND = "back_in_band"
    DOSE_LOW = "dose_low"
    DOSE_HIGH = "dose_high"
    LAMP_OFF_BY_DAY = "lamp_off_by_day"  # did not come on, or went out
    LAMP_ON_AT_NIGHT = "lamp_on_at_night"
    LAMP_FLICKERS = "lamp_flickers"
    LAMP_WARMS_UP_SLOWLY = "lamp_warms_up_slowly"
    LAMP_RISING = "lamp_rising"
    LAMP_FADING = "lamp_fading"
    LEVEL_STEPPED = "level_stepped"
    SENSOR_STUCK = "sensor_stuck"
    SENSOR_SATURATED = "sensor_saturated"
    SENSOR_TEMPERATURE = "sensor_temperature"  # outside what was calibrated, or not known
    SENSOR_NEGATIVE = "sensor_negative"
    SENSOR_WITHOUT_VALUE = "sensor_without_value"
    CALIBRATION_MISSING = "calibration_missing"
    CALIBRATION_OTHER_LAMP = "calibration_other_lamp"
    CALIBRATION_DUE = "calibration_due"
    CALIBRATION_ENDED = "calibration_ended"
    CHECK_OVERDUE = "check_overdue"  # nobody has compared the spot with a meter for too long
    CHECK_OUT = "check_out"  # the last comparison with a meter failed
    BOARD_SILENT = "board_silent"
    BOARD_RESTARTING = "board_restarting"
    BOARD_CLOCK_WRONG = "board_clock_wrong"


class Severity(StrEnum):
    """How soon somebody should look."""

    NOW = "now"
    TODAY = "today"
    NOTE = "note"

    def is_graver_than(self, other: "Severity") -> bool:
        """Return whether somebody should look sooner."""
        return GRAVEST_FIRST.index(self) < GRAVEST_FIRST.index(other)


GRAVEST_FIRST = (Severity.NOW, Severity.TODAY, Severity.NOTE)


@dataclass(frozen=True, slots=True)
class Event:
    """One event in its present state; a change makes a new value with the same identity.

    `subject` is the key of a spot or the identity of a board.  `sentence` says what happened with its
    numbers, `advice` what to do in one sentence.  `evidence` holds the numbers with units in their names.
    Times are UTC milliseconds since the epoch; `acknowledged_ms` and `closed_ms` are None until they happen.
    """

    identity: str
    kind: EventKind
    subject_kind: Literal["spot", "board"]
    subject: str
    severity: Severity
    opened_ms: int
    sentence: str
    advice: str
    evidence: Mapping[str, EvidenceValue] = field(default_factory=dict)
    acknowledged_ms: int | None = None
    closed_ms: int | None = None
    closing: str | None = None

    @property
    def is_open(self) -> bool:
        """Whether it has not closed yet."""
        return self.closed_ms is None

    def is_of(self, spot: str, board: str) -> bool:
        """Return whether it happened at a spot, or to the board that watches it."""
        return self.subject == (spot if self.subject_kind == "spot" else board)

    def acknowledged(self, at_ms: int) -> "Event":
        """Return it as seen by a person; the first acknowledgement stands."""
        return self if self.acknowledged_ms is not None else replace(self, acknowledged_ms=at_ms)

    def moved(self, step_ms: int) -> "Event":
        """Return it with all its times `step_ms` later: the clock that told them was wrong."""
        evidence = {
            name: value + step_ms if name.endswith("_ms") and isinstance(value, int) else value
            for name, value in self.evidence.items()
        }
        return replace(
            self,
            opened_ms=self.opened_ms + step_ms,
            evidence=evidence,
            acknowledged_ms=None if self.acknowledged_ms is None else self.acknowledged_ms + step_ms,
            closed_ms=None if self.closed_ms is None else self.closed_ms + step_ms,
        )

    def closed(self, at_ms: int, why: str) -> "Event":
        """Return it closed at `at_ms`, with the reason in words; the first closing stands."""
        return self if self.closed_ms is not None else replace(self, closed_ms=at_ms, closing=why)


def event_identity(kind: EventKind, subject: str, opened_ms: int) -> str:
    """Return the identity of an event: same cause, same place, same moment, same event."""
    return f"{kind}.{subject}.{opened_ms}"
