"""Which calibrations applied to a spot, and since when."""

from dataclasses import dataclass
from datetime import date

from calibrate.calibration_file import parse_calibration
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class CalibrationRecord:
    """One record of what applied; `to_ms` None: without an end.  `calibration` is '' for none."""

    generation: int
    from_ms: int
    to_ms: int | None
    calibration: str
    made_on: date | None
    lamp_kind: str
    reason: str
    withdrawn: bool


def calibration_history(store: Store, spot: str) -> list[CalibrationRecord]:
    """Return all records of a spot in the order in which they were made."""
    return [
        CalibrationRecord(
            record.generation,
            record.from_ms,
            record.to_ms,
            record.assignment.calibration,
            _made_on(store, record.assignment.calibration),
            record.assignment.lamp_kind,
            record.reason,
            record.withdrawn,
        )
        for record in store.assignments.history(spot)
    ]


def _made_on(store: Store, identity: str) -> date | None:
    text = store.calibrations.get(identity) if identity else None
    return None if text is None else parse_calibration(text, where=f"calibration {identity}").made_on
