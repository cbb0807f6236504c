"""Days that are over, by spot: kept as text that the caller understands."""

from dataclasses import dataclass

from ingest.store.database import Database
from ingest.store.identities import Identities


@dataclass(frozen=True, slots=True)
class DayRow:
    """One spot's day: `day` in ISO 8601, from `start_ms` to `end_ms`, UTC milliseconds since the epoch.

    `calibration` is the identity of the one by which all of it was derived, '' where there was none or more
    than one.  `profile` and `lamp` are JSON.
    """

    spot: str
    day: str
    start_ms: int
    end_ms: int
    calibration: str
    profile: str
    lamp: str


class DayRows:
    """The days of all spots.  One goes when its minutes are computed anew."""

    def __init__(self, database: Database, identities: Identities) -> None:
        self._database = database
        self._identities = identities

    def put(self, row: DayRow) -> None:
        """Store a day, in place of what was known of it."""
        with self._database.transaction():
            self._database.execute(
                "INSERT OR REPLACE INTO day_record"
                " (spot_id, day, start_ms, end_ms, calibration, profile, lamp) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    self._identities.spot(row.spot),
                    row.day,
                    row.start_ms,
                    row.end_ms,
                    row.calibration,
                    row.profile,
                    row.lamp,
                ),
            )

    def between(self, spot: str, first_day: str, last_day: str) -> list[DayRow]:
        """Return the days of a spot from the first to the last, both in ISO 8601 and included, in order."""
        rows = self._database.rows(
            "SELECT spot, day, start_ms, end_ms, calibration, profile, lamp"
            " FROM day_record JOIN spot USING (spot_id)"
            " WHERE spot = ? AND day BETWEEN ? AND ? ORDER BY day",
            (spot, first_day, last_day),
        )
        return [DayRow(*row) for row in rows]

    def forget(self, spot: str, from_ms: int, to_ms: int) -> None:
        """Drop the days that [from_ms, to_ms) touches: something in it has changed."""
        spot_id = self._identities.find_spot(spot)
        if spot_id is not None:
            with self._database.transaction():
                self._database.execute(
                    "DELETE FROM day_record WHERE spot_id = ? AND start_ms < ? AND end_ms > ?",
                    (spot_id, to_ms, from_ms),
                )
