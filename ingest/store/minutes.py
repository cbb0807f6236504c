"""One-minute summaries of each spot, kept for ever."""

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FlagArray, FloatArray, IntArray
from ingest.store.database import Database
from ingest.store.dirty import MINUTE_MS, DirtyMinutes, DirtySpan
from ingest.store.identities import Identities

_HOUR_MINUTES = 60
_SPOT_SHIFT = 32  # room for the hours since the epoch of one spot

# Summaries are derived and can be computed again, so single precision (1 part in 10^7) is enough for them.
_ROW = np.dtype(
    [
        ("minute_of_hour", "u1"),
        ("n", "<u4"),
        ("covered_ms", "<u2"),
        ("flags", "<u4"),
        ("mean_uvi", "<f4"),
        ("min_uvi", "<f4"),
        ("max_uvi", "<f4"),
        ("u_uvi", "<f4"),
        ("dose_uvi_h", "<f4"),
    ]
)


@dataclass(frozen=True, slots=True)
class MinuteSummaries:
    """Minutes of one spot in time order, only those of which anything is known: arrays of one length.

    `minute` int64, minutes since the epoch, strictly increasing; `n` int64, samples in it; `covered_ms`
    int64, milliseconds of the minute that they stand for (0 to 60,000); `mean_uvi`, `min_uvi`, `max_uvi` and
    `u_uvi` (mean standard uncertainty) float64, NaN where no sample had a value; `flags` uint32, all `Flag`
    bits that occurred; `dose_uvi_h` float64, the minute's contribution to the dose.  The store keeps these
    floats to single precision.
    """

    minute: IntArray
    n: IntArray
    covered_ms: IntArray
    mean_uvi: FloatArray
    min_uvi: FloatArray
    max_uvi: FloatArray
    u_uvi: FloatArray
    flags: FlagArray
    dose_uvi_h: FloatArray

    def __post_init__(self) -> None:
        if len({len(getattr(self, name)) for name in ("minute", *_FIELDS)}) != 1:
            raise ValueError("arrays of different lengths")

    def __len__(self) -> int:
        return len(self.minute)

    def only(self, wanted: NDArray[np.bool_]) -> "MinuteSummaries":
        """Return the minutes where `wanted`, shape (n,), is true."""
        return MinuteSummaries(self.minute[wanted], *(getattr(self, name)[wanted] for name in _FIELDS))


_FIELDS = ("n", "covered_ms", "mean_uvi", "min_uvi", "max_uvi", "u_uvi", "flags", "dose_uvi_h")


class Minutes:
    """Summaries by spot and minute, and the marks that say which must be computed anew."""

    def __init__(self, database: Database, identities: Identities, dirty: DirtyMinutes) -> None:
        self._database = database
        self._identities = identities
        self._dirty = dirty

    def dirty(self) -> list[DirtySpan]:
        """Return what must be summarised anew, by board and then in time order."""
        return self._dirty.spans()

    def clean(self, span: DirtySpan) -> None:
        """Take a span, or a part of one, off the list; in the transaction that replaces its minutes."""
        with self._database.transaction():
            board_id = self._identities.find_board(span.board)
            if board_id is not None:
                self._dirty.clean(board_id, span.from_ms, span.to_ms)

    def replace(self, spot: str, from_minute: int, to_minute: int, rows: MinuteSummaries) -> None:
        """Put `rows` in place of all minutes of `spot` in [from_minute, to_minute), since the epoch."""
        if not 0 <= from_minute < to_minute:
            raise ValueError(f"no minutes from {from_minute} to {to_minute}")
        if len(rows) and not (from_minute <= rows.minute[0] and rows.minute[-1] < to_minute):
            raise ValueError("rows outside the minutes that they replace")
        first_hour, last_hour = from_minute // _HOUR_MINUTES, (to_minute - 1) // _HOUR_MINUTES
        with self._database.transaction():
            spot_id = self._identities.spot(spot)
            old = self._hours(spot_id, first_hour, last_hour)
            before = old.only(old.minute < from_minute)
            after = old.only(old.minute >= to_minute)
            self._database.execute(
                "DELETE FROM minute_block WHERE place BETWEEN ? AND ?",
                (_place(spot_id, first_hour), _place(spot_id, last_hour)),
            )
            self._database.execute_many(
                "INSERT INTO minute_block VALUES (?, ?)",
                [(_place(spot_id, hour), data) for hour, data in _in_hours(_joined(before, rows, after))],
            )

    def between(self, spot: str, from_ms: int, to_ms: int) -> MinuteSummaries:
        """Return the minutes of `spot` that begin in [from_ms, to_ms)."""
        spot_id = self._identities.find_spot(spot)
        from_minute, to_minute = max(-(-from_ms // MINUTE_MS), 0), -(-to_ms // MINUTE_MS)
        if spot_id is None or from_minute >= to_minute:
            return NO_MINUTES
        found = self._hours(spot_id, from_minute // _HOUR_MINUTES, (to_minute - 1) // _HOUR_MINUTES)
        return found.only((found.minute >= from_minute) & (found.minute < to_minute))

    def _hours(self, spot_id: int, first_hour: int, last_hour: int) -> MinuteSummaries:
        blocks = self._database.rows(
            "SELECT place, data FROM minute_block WHERE place BETWEEN ? AND ? ORDER BY place",
            (_place(spot_id, first_hour), _place(spot_id, last_hour)),
        )
        if not blocks:
            return NO_MINUTES
        parts = [_unpacked(data) for _, data in blocks]
        rows = np.concatenate(parts)
        hours = np.array([place for place, _ in blocks], np.int64) - _place(spot_id, 0)
        minute = np.repeat(hours * _HOUR_MINUTES, [len(part) for part in parts]) + rows["minute_of_hour"]
        return _summaries(minute, rows)


def _place(spot_id: int, hour: int) -> int:
    return (spot_id << _SPOT_SHIFT) + hour


def _joined(*parts: MinuteSummaries) -> MinuteSummaries:
    return MinuteSummaries(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in ("minute", *_FIELDS))
    )


def _in_hours(summaries: MinuteSummaries) -> list[tuple[int, bytes]]:
    """Return the hours that have any minute, each with its minutes as bytes."""
    rows = np.empty(len(summaries), _ROW)
    rows["minute_of_hour"] = summaries.minute % _HOUR_MINUTES
    for name in _FIELDS:
        rows[name] = getattr(summaries, name)
    hours, starts = np.unique(summaries.minute // _HOUR_MINUTES, return_index=True)
    ends = [*starts, len(rows)][1:]
    return [
        (hour, _packed(rows[start:end]))
        for hour, start, end in zip(hours.tolist(), starts, ends, strict=True)
    ]


def _packed(rows: NDArray[np.void]) -> bytes:
    # Byte by byte down the columns: neighbours in time differ little, and zlib sees it then.
    return zlib.compress(np.frombuffer(rows.tobytes(), np.uint8).reshape(len(rows), -1).T.tobytes(), 6)


def _unpacked(data: bytes) -> NDArray[np.void]:
    planes = np.frombuffer(zlib.decompress(data), np.uint8).reshape(_ROW.itemsize, -1)
    return np.frombuffer(planes.T.tobytes(), _ROW)


def _summaries(minute: IntArray, rows: NDArray[np.void]) -> MinuteSummaries:
    return MinuteSummaries(
        minute=minute,
        n=rows["n"].astype(np.int64),
        covered_ms=rows["covered_ms"].astype(np.int64),
        mean_uvi=rows["mean_uvi"].astype(np.float64),
        min_uvi=rows["min_uvi"].astype(np.float64),
        max_uvi=rows["max_uvi"].astype(np.float64),
        u_uvi=rows["u_uvi"].astype(np.float64),
        flags=rows["flags"].astype(np.uint32),
        dose_uvi_h=rows["dose_uvi_h"].astype(np.float64),
    )


NO_MINUTES = _summaries(np.empty(0, np.int64), np.empty(0, _ROW))
