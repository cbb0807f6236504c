"""From stored raw readings to samples: the one place where a spot's sensor and its calibration meet."""

from datetime import UTC, date, datetime

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.calibration import Calibration
from calibrate.samples import Flag, Samples
from firmware_host.messages import Mark
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch

_DAY_MS = 86_400_000


def sensor_columns(batch: StampedBatch, sensor: str | None) -> dict[str, FloatArray]:
    """Return what one sensor of a board sees: its own channels, prefix taken off, and the shared ones."""
    columns: dict[str, FloatArray] = {}
    for index, channel in enumerate(batch.channels):
        prefix, dot, name = channel.rpartition(".")
        if not dot or prefix == sensor:
            columns[name] = batch.values[:, index]
    return columns


def derive_samples(
    batch: StampedBatch, *, sensor: str | None, calibration: Calibration | None, lamp_kind: str
) -> Samples:
    """Return the batch's samples at a spot; without a calibration they have no value and say so."""
    if calibration is None:
        return _uncalibrated(batch)
    converted = calibration.convert(
        sensor_columns(batch, sensor),
        batch.marks,
        lamp_kind=lamp_kind,
        age_days=_age_days(calibration.made_on, batch),
    )
    return Samples(batch.utc_ms, converted.uvi, converted.u_uvi, converted.flags)


def _age_days(made_on: date, batch: StampedBatch) -> float | None:
    if len(batch) == 0:
        return None
    made_ms = datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC).timestamp() * 1000
    # A batch spans minutes to hours, ageing takes weeks: one age serves all.  Made today is age 0, not less.
    return max(0.0, (float(batch.utc_ms[-1]) - made_ms) / _DAY_MS)


def _uncalibrated(batch: StampedBatch) -> Samples:
    nothing = np.full(len(batch), np.nan)
    flags = np.full(len(batch), int(Flag.UNCALIBRATED), np.uint32)
    flags[(batch.marks & np.uint32(Mark.FAULT)) != 0] |= np.uint32(Flag.SENSOR_FAULT)
    flags[(batch.marks & np.uint32(CLOCK_UNSURE_MARK)) != 0] |= np.uint32(Flag.CLOCK_UNSURE)
    return Samples(batch.utc_ms, nothing, nothing, flags)
