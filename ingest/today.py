"""The dose of the keeper's day so far, counted as samples come."""

from typing import Final

from calibrate.samples import Samples
from exposure.days import DayBounds, day_bounds, local_date
from exposure.dose import dose
from exposure.segments import valued
from ingest.history import NO_SAMPLES, joined

_WAITING_MOST: Final = 1_000


class Today:
    """One spot's dose and coverage since local midnight."""

    def __init__(self, time_zone: str, max_gap_s: float) -> None:
        self._time_zone = time_zone
        self.max_gap_s = max_gap_s
        """The longest time between samples that counts as seen."""
        self._day: DayBounds | None = None
        self._uvi_h = 0.0
        self._seconds_seen = 0.0
        self._last = NO_SAMPLES
        self._waiting: list[Samples] = []

    def add(self, samples: Samples) -> None:
        """Take in samples, newer than those before."""
        self._waiting.append(samples)
        if len(self._waiting) >= _WAITING_MOST:  # nobody may ever ask
            self._count(int(samples.utc_ms[-1]))

    def dose_uvi_h(self, now_ms: int) -> float | None:
        """Return the day's dose so far [UVI·h]; None if nothing of the day was seen."""
        self._count(now_ms)
        return self._uvi_h if self._seconds_seen > 0 else None

    def coverage(self, now_ms: int) -> float:
        """Return which part of the day so far was seen, 0 to 1."""
        day = self._count(now_ms)
        return min(1.0, self._seconds_seen * 1000 / max(1, now_ms - day.start_ms))

    def start_ms(self, now_ms: int) -> int:
        """Return when the day began, UTC milliseconds."""
        return self._count(now_ms).start_ms

    def _count(self, now_ms: int) -> DayBounds:
        day = self._day
        if day is None or not day.start_ms <= now_ms < day.end_ms:
            day = self._day = day_bounds(local_date(now_ms, self._time_zone), self._time_zone)
            self._uvi_h = self._seconds_seen = 0.0
        # The line is drawn from valued sample to valued sample: the last of these is where to go on from.
        series = valued(joined([self._last, *self._waiting])) if self._waiting else NO_SAMPLES
        self._waiting.clear()
        if len(series):
            received = dose(series, max(day.start_ms, int(series.utc_ms[0])), day.end_ms, self.max_gap_s)
            self._uvi_h += received.uvi_h
            self._seconds_seen += received.seconds_seen
            last_ms = int(series.utc_ms[-1])
            self._last = series.between(last_ms, last_ms + 1)
        return day
