"""A spot's days as they were: from the store's record where that still holds, else from raw readings."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from pydantic import TypeAdapter

from exposure.days import DayBounds, DayError, day_bounds
from exposure.lamp_days import LampDay, lamp_day
from exposure.profile import DayProfile, day_profile
from ingest.assigning import band_of_text
from ingest.config import Config
from ingest.history import History
from ingest.store.assignments import AssignedSpan
from ingest.store.day_rows import AROUND_MS, DayRow, LampRow
from ingest.store.store import Store

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

    def __init__(self, store: Store, config: Config) -> None:
        self._store = store
        self._config = config
        self._history = History(store)

    def of(self, spot: str, first: date, last: date) -> list[DayRecord]:
        """Return the days from `first` to `last`, both included, in order.

        A day of which nothing was seen is left out.  One that is not over yet is told as far as it has come.
        """
        days = _Days(self._store, self._config, spot, first, last)
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
        days = _Days(self._store, self._config, spot, first, last)
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
                    lamp = SeenLamp(self._lamp_by(spot, bounds, days.calibration), days.calibration)
            seen.append(lamp)
        return seen

    def derive(self, spot: str, day: date) -> DayRecord | None:
        """Return a day as the raw readings tell it; None if nothing of it was seen."""
        for bounds in (days := _Days(self._store, self._config, spot, day, day)):
            return self._derive(spot, bounds, days.spans(bounds))
        return None

    def keep(self, record: DayRecord) -> None:
        """Put a day that is over on record; in the transaction that derived it, if another may write."""
        bounds = record.profile.bounds
        with self._store.transaction():
            days = _Days(self._store, self._config, record.spot, record.date, record.date)
            self._store.days.put(
                DayRow(
                    record.spot,
                    record.date.isoformat(),
                    bounds.start_ms,
                    bounds.end_ms,
                    record.calibration,
                    _profiles().dump_json(record.profile).decode(),
                    _lamps().dump_json(record.lamp).decode(),
                    _text_of(days.spans(bounds), bounds),
                )
            )

    def unkept(self, spot: str, first: date, last: date) -> list[date]:
        """Return the days of which there are all readings and no record that holds, in order."""
        days = _Days(self._store, self._config, spot, first, last)
        return [bounds.date for bounds in days if days.kept(bounds) is None and not days.is_forgotten(bounds)]

    def unkept_lamps(self, spot: str, first: date, last: date) -> list[date]:
        """Return the days for which `lamps` would have to go back to raw readings for another calibration."""
        days = _Days(self._store, self._config, spot, first, last)
        missing = []
        for bounds in days:
            row = days.kept(bounds)
            by_another = row is not None and row.calibration != days.calibration
            if by_another and days.kept_lamp(bounds) is None and days.can_be_anew(bounds):
                missing.append(bounds.date)
        return missing

    def keep_lamp(self, spot: str, day: date, last: date) -> None:
        """Put on record what a day says of the lamp by the calibration that applies at the end of `last`."""
        with self._store.transaction():
            days = _Days(self._store, self._config, spot, day, last)
            bounds = next(iter(days), None)
            if bounds is None or bounds.date != day:
                return
            self._store.days.put_lamp(
                LampRow(
                    spot,
                    day.isoformat(),
                    bounds.start_ms,
                    bounds.end_ms,
                    days.calibration,
                    _text_of(days.spans(bounds), bounds),
                    _lamps().dump_json(self._lamp_by(spot, bounds, days.calibration)).decode(),
                )
            )

    def _derive(self, spot: str, bounds: DayBounds, spans: Sequence[AssignedSpan]) -> DayRecord | None:
        within = [span for span in spans if span.from_ms < bounds.end_ms and span.to_ms > bounds.start_ms]
        if not within:
            return None
        samples = self._history.samples(spot, bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS)
        if len(samples.between(bounds.start_ms, bounds.end_ms)) == 0:
            return None
        calibrations = {span.assignment.calibration for span in within}
        return DayRecord(
            spot,
            day_profile(samples, band_of_text(within[-1].assignment.band), bounds),
            lamp_day(samples, bounds),
            calibrations.pop() if len(calibrations) == 1 else "",
        )

    def _lamp_by(self, spot: str, bounds: DayBounds, calibration: str) -> LampDay:
        samples = self._history.samples(
            spot, bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS, calibration=calibration
        )
        return lamp_day(samples, bounds)


class _Days:
    """The days of a spot of which there may be anything, and what is kept of them."""

    def __init__(self, store: Store, config: Config, spot: str, first: date, last: date) -> None:
        self._store = store
        zone = config.bridge.time_zone
        self._bounds = list(_bounds(first, last, zone))
        self._rows = {row.day: row for row in store.days.between(spot, first.isoformat(), last.isoformat())}
        self._lamp_rows = {
            row.day: row for row in store.days.lamps_between(spot, first.isoformat(), last.isoformat())
        }
        self._spans: list[AssignedSpan] = []
        self._at = 0
        self._gone_ms: dict[str, int | None] = {}
        self.calibration = ""
        if self._bounds:
            start_ms, end_ms = self._bounds[0].start_ms - AROUND_MS, self._bounds[-1].end_ms + AROUND_MS
            self._spans = store.assignments.timeline(spot, start_ms, end_ms)
        before_end = [span for span in self._spans if span.from_ms < self._bounds[-1].end_ms]
        self._last = before_end[-1].assignment if before_end else None
        if self._last is not None:
            self.calibration = self._last.calibration

    def __iter__(self) -> Iterator[DayBounds]:
        """Yield the days in order, without those of which there are neither readings nor a record."""
        nothing_before_ms = 0
        for bounds in self._bounds:
            if bounds.date.isoformat() in self._rows:
                yield bounds
                continue
            if bounds.end_ms <= nothing_before_ms:
                continue
            next_ms = self._next_reading_ms(bounds.start_ms)
            if next_ms is None:
                nothing_before_ms = self._bounds[-1].end_ms
            elif next_ms < bounds.end_ms:
                yield bounds
            else:
                nothing_before_ms = next_ms

    def spans(self, bounds: DayBounds) -> list[AssignedSpan]:
        """Return what applied to the spot in the time that counts for a day."""
        from_ms, to_ms = bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS
        return [span for span in self._spans if span.from_ms < to_ms and span.to_ms > from_ms]

    def kept(self, bounds: DayBounds) -> DayRow | None:
        """Return the record of a day if it holds."""
        row = self._rows.get(bounds.date.isoformat())
        return None if row is None or not self._holds(row, bounds) else row

    def kept_lamp(self, bounds: DayBounds) -> LampRow | None:
        """Return what a day says of the lamp by the last day's calibration, if that is kept and holds."""
        row = self._lamp_rows.get(bounds.date.isoformat())
        if row is None or row.calibration != self.calibration or not self._holds(row, bounds):
            return None
        return row

    def can_be_anew(self, bounds: DayBounds) -> bool:
        """Return whether all of a day can be derived by the last day's calibration, for its sensor."""
        spans = self.spans(bounds)
        return (
            self._last is not None
            and self.calibration != ""
            and bool(spans)
            and not self.is_forgotten(bounds)
            and all(
                (span.assignment.board, span.assignment.sensor) == (self._last.board, self._last.sensor)
                for span in spans
            )
        )

    def is_forgotten(self, bounds: DayBounds) -> bool:
        """Return whether readings of a day have been forgotten."""
        boards = {span.assignment.board for span in self.spans(bounds)}
        return self._is_forgotten(boards, bounds.start_ms)

    def _holds(self, row: DayRow | LampRow, bounds: DayBounds) -> bool:
        """Return whether nothing else applies to the day than did when it was put on record.

        Where readings of it have been forgotten, the record is all there is.
        """
        if row.assigned == _text_of(self.spans(bounds), bounds):
            return True
        return bool(row.assigned) and self._is_forgotten(_boards_of(row.assigned), row.start_ms)

    def _is_forgotten(self, boards: set[str], start_ms: int) -> bool:
        for board in boards - self._gone_ms.keys():
            self._gone_ms[board] = self._store.readings.forgotten_before(board)
        gone = [self._gone_ms[board] for board in boards]
        return any(before_ms is not None and start_ms - AROUND_MS < before_ms for before_ms in gone)

    def _next_reading_ms(self, from_ms: int) -> int | None:
        """Return a moment from then on before which the spot has no readings."""
        found = []
        for span in self._spans:
            if span.to_ms > from_ms:
                next_ms = self._store.readings.next_utc_ms(span.assignment.board, max(span.from_ms, from_ms))
                if next_ms is not None and next_ms < span.to_ms:
                    found.append(next_ms)
        return min(found, default=None)


def _bounds(first: date, last: date, time_zone: str) -> Iterator[DayBounds]:
    for number in range((last - first).days + 1):
        try:
            yield day_bounds(first + timedelta(days=number), time_zone)
        except DayError:  # a day that the zone left out
            continue


def _text_of(spans: Sequence[AssignedSpan], bounds: DayBounds) -> str:
    """Return what applied in the time that counts for a day; the same text only for the same."""
    from_ms, to_ms = bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS
    return json.dumps(
        [
            bounds.start_ms,
            bounds.end_ms,
            *(
                [max(span.from_ms, from_ms), min(span.to_ms, to_ms), *_what(span)]
                for span in spans
                if span.from_ms < to_ms and span.to_ms > from_ms
            ),
        ],
        separators=(",", ":"),
        ensure_ascii=False,
    )


def _what(span: AssignedSpan) -> list[str]:
    what = span.assignment
    return [what.board, what.sensor, what.calibration, what.lamp_kind, what.band]


def _boards_of(assigned: str) -> set[str]:
    return {span[2] for span in json.loads(assigned)[2:]}


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
