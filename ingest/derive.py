"""From stored raw readings to samples: the one place where a spot's sensor and its calibration meet."""

from datetime import date

import numpy as np

from calibrate.arrays import FloatArray
from calibrate.calibration import Calibration
from calibrate.samples import Flag, Samples
from firmware_host.messages import Mark
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch

_DAY_MS = 86_400_000
_EPOCH = date(1970, 1, 1)


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
    columns, made_day = sensor_columns(batch, sensor), (calibration.made_on - _EPOCH).days
    if len(batch) == 0:
        converted = calibration.convert(columns, batch.marks, lamp_kind=lamp_kind)
        return Samples(batch.utc_ms, converted.uvi, converted.u_uvi, converted.flags)
    # A calibration ages by whole days, so that a reading counts the same in whatever batch it comes.
    first_ms, last_ms = int(batch.utc_ms.min()), int(batch.utc_ms.max())
    if first_ms // _DAY_MS == last_ms // _DAY_MS:  # nearly always
        converted = calibration.convert(
            columns,
            batch.marks,
            lamp_kind=lamp_kind,
            age_days=max(0, first_ms // _DAY_MS - made_day),  # made today is age 0, not less
        )
        return Samples(batch.utc_ms, converted.uvi, converted.u_uvi, converted.flags)
    days = batch.utc_ms // _DAY_MS
    uvi, u_uvi = np.empty(len(batch)), np.empty(len(batch))
    flags = np.empty(len(batch), np.uint32)
    for day in np.unique(days):
        of_day = days == day
        converted = calibration.convert(
            {name: values[of_day] for name, values in columns.items()},
            batch.marks[of_day],
            lamp_kind=lamp_kind,
            age_days=max(0, int(day) - made_day),
        )
        uvi[of_day], u_uvi[of_day], flags[of_day] = converted.uvi, converted.u_uvi, converted.flags
    return Samples(batch.utc_ms, uvi, u_uvi, flags)


def _uncalibrated(batch: StampedBatch) -> Samples:
    nothing = np.full(len(batch), np.nan)
    flags = np.full(len(batch), int(Flag.UNCALIBRATED), np.uint32)
    flags[(batch.marks & np.uint32(Mark.FAULT)) != 0] |= np.uint32(Flag.SENSOR_FAULT)
    flags[(batch.marks & np.uint32(CLOCK_UNSURE_MARK)) != 0] |= np.uint32(Flag.CLOCK_UNSURE)
    return Samples(batch.utc_ms, nothing, nothing, flags)
