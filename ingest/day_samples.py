"""A spot's samples of one day, in parts of which none is long."""

from collections.abc import Iterator, Sequence
from typing import Final

from calibrate.samples import Samples
from exposure.days import HOUR_MS, DayBounds
from ingest.history import History
from ingest.store.assignments import AssignedSpan
from ingest.store.day_rows import AROUND_MS
from ingest.store.store import Store

WHOLE_MOST: Final = 100_000
"""A day of one reading a second is taken whole; one of so many that it would take tens of MB is not."""

_PART_MS: Final = HOUR_MS // 2


class DaySamples:
    """Gives the samples that count for a day, each time it is called.

    Where it is cut depends on the readings alone, not on how they are packed: the same readings give the same
    sums to the last bit.
    """

    def __init__(
        self,
        store: Store,
        history: History,
        spot: str,
        bounds: DayBounds,
        spans: Sequence[AssignedSpan],
        calibration: str | None = None,
    ) -> None:
        """`spans`: what applied to the spot meanwhile.  By `calibration`, or by those that applied."""
        self._history = history
        self._spot = spot
        self._calibration = calibration
        self._from_ms, self._to_ms = bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS
        self._whole: Samples | None = None
        self.n_readings = sum(
            store.readings.count(
                span.assignment.board, max(span.from_ms, self._from_ms), min(span.to_ms, self._to_ms)
            )
            for span in spans
        )
        """How many readings there are for it."""

    def __call__(self) -> Iterator[Samples]:
        """Yield the parts in order of time."""
        if self.n_readings <= WHOLE_MOST:
            if self._whole is None:
                self._whole = self._between(self._from_ms, self._to_ms)
            yield self._whole
            return
        for from_ms in range(self._from_ms, self._to_ms, _PART_MS):
            yield self._between(from_ms, min(from_ms + _PART_MS, self._to_ms))

    def _between(self, from_ms: int, to_ms: int) -> Samples:
        return self._history.samples(self._spot, from_ms, to_ms, calibration=self._calibration)
