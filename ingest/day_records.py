"""A spot's days as they were: from the store's record where that still holds, else from raw readings."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from pydantic import TypeAdapter

from exposure.days import day_bounds
from exposure.lamp_days import LampDay, lamp_day
from exposure.profile import DayProfile, day_profile
from ingest.assigning import band_of_text
from ingest.config import Config
from ingest.history import History
from ingest.store.day_rows import DayRow
from ingest.store.dirty import DirtySpan
from ingest.store.store import Store

# As far as the longest silence that a profile can bridge, so that the day's edges are seen.
AROUND_MS = 300_000


@dataclass(frozen=True, slots=True)
class DayRecord:
    """One day of a spot.  `calibration` is what all of it was derived by, '' if by none or by several."""

    spot: str
    profile: DayProfile
    lamp: LampDay
    calibration: str

    @property
    def date(self) -> date:
        """The local day."""
        return self.profile.bounds.date


class DayRecords:
    """The days of the spots of one configuration."""

    def __init__(self, store: Store, config: Config) -> None:
        self._store = store
        self._config = config
        self._history = History(store)

    def of(self, spot: str, first: date, last: date) -> list[DayRecord]:
        """Return the days from `first` to `last`, both included, in order.

        A day of which nothing was seen is left out.  One that is not over yet is told as far as it has come.
        """
        kept = {
            date.fromisoformat(row.day): row
            for row in self._store.days.between(spot, first.isoformat(), last.isoformat())
        }
        dirty = self._store.minutes.dirty()
        records = []
        for number in range((last - first).days + 1):
            day = first + timedelta(days=number)
            row = kept.get(day)
            if row is not None and not self._is_stale(row, dirty):
                records.append(_record(row))
                continue
            made = self.derive(spot, day)
            if made is not None:
                records.append(made)
        return records

    def derive(self, spot: str, day: date) -> DayRecord | None:
        """Return a day as the raw readings tell it; None if nothing of it was seen."""
        bounds = day_bounds(day, self._config.bridge.time_zone)
        spans = self._store.assignments.timeline(spot, bounds.start_ms, bounds.end_ms)
        if not spans:
            return None
        samples = self._history.samples(spot, bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS)
        if len(samples.between(bounds.start_ms, bounds.end_ms)) == 0:
            return None
        calibrations = {span.assignment.calibration for span in spans}
        return DayRecord(
            spot,
            day_profile(samples, band_of_text(spans[-1].assignment.band), bounds),
            lamp_day(samples, bounds),
            calibrations.pop() if len(calibrations) == 1 else "",
        )

    def keep(self, record: DayRecord) -> None:
        """Put a day that is over on record."""
        bounds = record.profile.bounds
        self._store.days.put(
            DayRow(
                record.spot,
                record.date.isoformat(),
                bounds.start_ms,
                bounds.end_ms,
                record.calibration,
                _profiles().dump_json(record.profile).decode(),
                _lamps().dump_json(record.lamp).decode(),
            )
        )

    def _is_stale(self, row: DayRow, dirty: list[DirtySpan]) -> bool:
        """Return whether something has come into that day that its record does not know of yet."""
        boards = {
            span.assignment.board
            for span in self._store.assignments.timeline(row.spot, row.start_ms, row.end_ms)
        }
        return any(
            span.board in boards
            and span.from_ms < row.end_ms + AROUND_MS
            and span.to_ms > row.start_ms - AROUND_MS
            for span in dirty
        )


@cache
def _profiles() -> TypeAdapter[DayProfile]:
    return TypeAdapter(DayProfile)


@cache
def _lamps() -> TypeAdapter[LampDay]:
    return TypeAdapter(LampDay)


def _record(row: DayRow) -> DayRecord:
    return DayRecord(
        row.spot, _profiles().validate_json(row.profile), _lamps().validate_json(row.lamp), row.calibration
    )
