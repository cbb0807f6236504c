"""What is kept of a spot's days, and whether it still holds."""

import json
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from exposure.days import DayBounds, DayError, day_bounds
from ingest.config import Config
from ingest.store.assignments import AssignedSpan
from ingest.store.day_rows import AROUND_MS, DayRow, LampRow
from ingest.store.store import Store


class KeptDays:
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
        self._gone_ms: dict[str, int | None] = {}
        self.calibration = ""
        """What applies at the end of the last of them; '' for none."""
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
        if row.assigned == assigned_text(self.spans(bounds), bounds):
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


def assigned_text(spans: Sequence[AssignedSpan], bounds: DayBounds) -> str:
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
