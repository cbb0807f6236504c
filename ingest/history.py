"""The past of a spot, derived from raw readings and from what applied to the spot when."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from calibrate.calibration import Calibration
from calibrate.calibration_file import parse_calibration
from calibrate.samples import Samples
from ingest.derive import derive_samples
from ingest.store.assignments import Assignment
from ingest.store.batch import StampedBatch
from ingest.store.errors import StoreError
from ingest.store.store import Store

_KEPT: Final = 64
NO_SAMPLES = Samples(np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0, np.uint32))


class History:
    """Reads samples out of a store; keeps the calibrations that it has read."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._calibrations: dict[str, Calibration] = {}

    def samples(self, spot: str, from_ms: int, to_ms: int, *, calibration: str | None = None) -> Samples:
        """Return the spot's samples in [from_ms, to_ms), in time order, each moment once.

        By the `calibration` of that identity, or by those that applied.
        """
        parts = [
            self._derive(
                batch,
                span.assignment if calibration is None else replace(span.assignment, calibration=calibration),
            )
            for span in self._store.assignments.timeline(spot, from_ms, to_ms)
            for batch in self._store.readings.between(span.assignment.board, span.from_ms, span.to_ms)
        ]
        return joined(parts)

    def of_batch(self, spot: str, batch: StampedBatch) -> list[tuple[StampedBatch, Samples]]:
        """Return the parts of `batch` that were the spot's at their time, each with its samples."""
        if len(batch) == 0:
            return []
        from_ms, to_ms = int(batch.utc_ms.min()), int(batch.utc_ms.max()) + 1
        parts = []
        for span in self._store.assignments.timeline(spot, from_ms, to_ms):
            if span.assignment.board == batch.board:
                part = _some(batch, (batch.utc_ms >= span.from_ms) & (batch.utc_ms < span.to_ms))
                parts.append((part, self._derive(part, span.assignment)))
        return parts

    def _derive(self, batch: StampedBatch, assignment: Assignment) -> Samples:
        return derive_samples(
            batch,
            sensor=assignment.sensor or None,
            calibration=self.calibration(assignment.calibration),
            lamp_kind=assignment.lamp_kind,
        )

    def calibration(self, identity: str) -> Calibration | None:
        """Return the calibration of that identity as the store keeps it; None for ''."""
        if not identity:
            return None
        known = self._calibrations.get(identity)
        if known is None:
            text = self._store.calibrations.get(identity)
            if text is None:
                raise StoreError(
                    f"calibration {identity} is not in the store",
                    remedy="Restore the store from a backup; raw readings are not affected",
                )
            known = self._calibrations[identity] = _read(text, f"calibration {identity} in the store")
        return known


# A page asks for the same few with each request.
@lru_cache(_KEPT)
def _read(text: str, where: str) -> Calibration:
    return parse_calibration(text, where=where)


def _some(batch: StampedBatch, wanted: NDArray[np.bool_]) -> StampedBatch:
    if wanted.all():
        return batch
    return StampedBatch(
        batch.board,
        batch.boot,
        batch.channels,
        batch.seq[wanted],
        batch.utc_ms[wanted],
        batch.values[wanted],
        batch.marks[wanted],
    )


def joined(parts: Sequence[Samples]) -> Samples:
    """Return the parts as one series, in time order; of samples with the same time the first stands."""
    if not parts:
        return NO_SAMPLES
    if len(parts) == 1 and _in_order(parts[0]):
        return parts[0]
    whole = Samples(
        np.concatenate([part.utc_ms for part in parts]),
        np.concatenate([part.uvi for part in parts]),
        np.concatenate([part.u_uvi for part in parts]),
        np.concatenate([part.flags for part in parts]),
    )
    if _in_order(whole):
        return whole
    _, first = np.unique(whole.utc_ms, return_index=True)
    return Samples(whole.utc_ms[first], whole.uvi[first], whole.u_uvi[first], whole.flags[first])


def _in_order(samples: Samples) -> bool:
    return bool(np.all(np.diff(samples.utc_ms) > 0))
