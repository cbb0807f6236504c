"""A spot's days as they were: from the store's record where that still holds, else from raw readings."""

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import TypeVar

from pydantic import TypeAdapter

from exposure.day_parts import day_in_parts
from exposure.days import DayBounds
from exposure.lamp_days import LampDay, unseen_lamp_day
from exposure.profile import DayProfile
from ingest.assigning import band_of_text
from ingest.config import Config
from ingest.day_samples import DaySamples
from ingest.history import History
from ingest.kept_days import KeptDays, assigned_text
from ingest.store.assignments import AssignedSpan
from ingest.store.day_rows import AROUND_MS, DayRow, LampRow
from ingest.store.store import Store

Made = TypeVar("Made")

__all__ = ["AROUND_MS", "DayRecord", "DayRecords", "SeenLamp"]


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


@dataclass(frozen=True, slots=True)
class SeenLamp:
    """What a day says of the lamp, and by which calibration, '' for none or several."""

    day: LampDay
    calibration: str


class DayRecords:
    """The days of the spots of one configuration."""

    def __init__(self, store: Store, config: Config, *, for_one_look: bool = False) -> None:
        """Read from `store`; `for_one_look`: what was derived stands for as long as this object."""
        self._store = store
        self._config = config
        self._history = History(store)
        self._derived: dict[tuple[str, date], DayRecord | None] | None = {} if for_one_look else None

    def of(self, spot: str, first: date, last: date) -> list[DayRecord]:
        """Return the days from `first` to `last`, both included, in order.

        A day of which nothing was seen is left out.  One that is not over yet is told as far as it has come.
        """
        days = KeptDays(self._store, self._config, spot, first, last)
        records = []
        for bounds in days:
            row = days.kept(bounds)
            record = self._derive(spot, bounds, days.spans(bounds)) if row is None else _record(row)
            if record is not None:
                records.append(record)
        return records

    def lamps(self, spot: str, first: date, last: date) -> list[SeenLamp]:
        """Return what the days from `first` to `last` say of the lamp, in order.

        All by the calibration that the spot has at the end of the last of them, as far as the readings are
        still there and came from the same sensor: a trend needs one for all.
        """
        days = KeptDays(self._store, self._config, spot, first, last)
        seen = []
        for bounds in days:
            row = days.kept(bounds)
            if row is None:
                record = self._derive(spot, bounds, days.spans(bounds))
                if record is None:
                    continue
                lamp = SeenLamp(record.lamp, record.calibration)
            else:
                lamp = SeenLamp(_lamps().validate_json(row.lamp), row.calibration)
            if lamp.calibration != days.calibration:
                anew = days.kept_lamp(bounds)
                if anew is not None:
                    lamp = SeenLamp(_lamps().validate_json(anew.lamp), anew.calibration)
                elif days.can_be_anew(bounds):
                    lamp = SeenLamp(_last(self._making_lamp(spot, bounds, days)), days.calibration)
            seen.append(lamp)
        return seen

    def derive(self, spot: str, day: date) -> DayRecord | None:
        """Return a day as the raw readings tell it; None if nothing of it was seen."""
        return _last(self.making(spot, day))

    def making(self, spot: str, day: date) -> Generator[int, None, DayRecord | None]:
        """Return `derive` of a day; pauses often, with how many samples it has looked at."""
        for bounds in (days := KeptDays(self._store, self._config, spot, day, day)):
            return (yield from self._making(spot, bounds, days.spans(bounds)))
        return None

    def made_of(self, spot: str, day: date) -> tuple[object, ...]:
        """Return something that differs after what `derive` makes a day of has changed."""
        for bounds in (days := KeptDays(self._store, self._config, spot, day, day)):
            spans = days.spans(bounds)
            samples = DaySamples(self._store, self._history, spot, bounds, spans)
            return assigned_text(spans, bounds), samples.n_readings, self._store.readings.times_revision()
        return ()

    def keep(self, record: DayRecord) -> None:
        """Put a day that is over on record; in the transaction that derived it, if another may write."""
        bounds = record.profile.bounds
        with self._store.transaction():
            days = KeptDays(self._store, self._config, record.spot, record.date, record.date)
            self._store.days.put(
                DayRow(
                    record.spot,
                    record.date.isoformat(),
                    bounds.start_ms,
                    bounds.end_ms,
                    record.calibration,
                    _profiles().dump_json(record.profile).decode(),
                    _lamps().dump_json(record.lamp).decode(),
                    assigned_text(days.spans(bounds), bounds),
                )
            )

    def unkept(self, spot: str, first: date, last: date) -> list[date]:
        """Return the days of which there are all readings and no record that holds, in order."""
        days = KeptDays(self._store, self._config, spot, first, last)
        return [bounds.date for bounds in days if days.kept(bounds) is None and not days.is_forgotten(bounds)]

    def unkept_lamps(self, spot: str, first: date, last: date) -> list[date]:
        """Return the days for which `lamps` would have to go back to raw readings for another calibration."""
        days = KeptDays(self._store, self._config, spot, first, last)
        missing = []
        for bounds in days:
            row = days.kept(bounds)
            by_another = row is not None and row.calibration != days.calibration
            if by_another and days.kept_lamp(bounds) is None and days.can_be_anew(bounds):
                missing.append(bounds.date)
        return missing

    def making_lamp(self, spot: str, day: date, last: date) -> Generator[int, None, LampRow | None]:
        """Return what a day says of the lamp by the calibration that applies at the end of `last`.

        Pauses often, with how many samples it has looked at.
        """
        days = KeptDays(self._store, self._config, spot, day, last)
        bounds = next(iter(days), None)
        if bounds is None or bounds.date != day:
            return None
        lamp = yield from self._making_lamp(spot, bounds, days)
        return LampRow(
            spot,
            day.isoformat(),
            bounds.start_ms,
            bounds.end_ms,
            days.calibration,
            assigned_text(days.spans(bounds), bounds),
            _lamps().dump_json(lamp).decode(),
        )

    def lamp_made_of(self, spot: str, day: date, last: date) -> tuple[object, ...]:
        """Return something that differs after what `making_lamp` makes a day of has changed."""
        calibration = KeptDays(self._store, self._config, spot, day, last).calibration
        return calibration, *self.made_of(spot, day)

    def keep_lamp(self, row: LampRow) -> None:
        """Put on record what `making_lamp` has made; in that transaction, if another may write."""
        self._store.days.put_lamp(row)

    def _derive(self, spot: str, bounds: DayBounds, spans: Sequence[AssignedSpan]) -> DayRecord | None:
        if self._derived is None:
            return _last(self._making(spot, bounds, spans))
        key = spot, bounds.date
        if key not in self._derived:
            self._derived[key] = _last(self._making(spot, bounds, spans))
        return self._derived[key]

    def _making(
        self, spot: str, bounds: DayBounds, spans: Sequence[AssignedSpan], calibration: str | None = None
    ) -> Generator[int, None, DayRecord | None]:
        within = [span for span in spans if span.from_ms < bounds.end_ms and span.to_ms > bounds.start_ms]
        if not within:
            return None
        samples = DaySamples(self._store, self._history, spot, bounds, spans, calibration)
        made = yield from day_in_parts(samples, band_of_text(within[-1].assignment.band), bounds)
        if made is None:
            return None
        calibrations = {span.assignment.calibration for span in within}
        return DayRecord(spot, *made, calibrations.pop() if len(calibrations) == 1 else "")

    def _making_lamp(self, spot: str, bounds: DayBounds, days: KeptDays) -> Generator[int, None, LampDay]:
        record = yield from self._making(spot, bounds, days.spans(bounds), days.calibration)
        return unseen_lamp_day(bounds) if record is None else record.lamp


def _last(making: Generator[int, None, Made]) -> Made:
    """Return what a making comes to."""
    while True:
        try:
            next(making)
        except StopIteration as stopped:
            made: Made = stopped.value
            return made


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
