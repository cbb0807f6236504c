"""Days that are over, by spot: kept as text that the caller understands, and outdated by what comes late."""

from dataclasses import dataclass

from ingest.store.database import Database
from ingest.store.identities import Identities

AROUND_MS = 300_000
"""A day is made of its readings and of those so long before and after it: as long as the longest silence that
can be bridged, so that the day's edges are seen."""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One spot's day: `day` in ISO 8601, from `start_ms` to `end_ms`, UTC milliseconds since the epoch.

    `calibration` is the identity of the one by which all of it was derived, '' where there was none or more
    than one.  `profile` and `lamp` are JSON.  `assigned` says what applied to the spot in that time.
    """

    spot: str
    day: str
    start_ms: int
    end_ms: int
    calibration: str
    profile: str
    lamp: str
    assigned: str


@dataclass(frozen=True, slots=True)
class LampRow:
    """What a spot's day says of its lamp by another calibration than the one that applied; as `DayRow`."""

    spot: str
    day: str
    start_ms: int
    end_ms: int
    calibration: str
    assigned: str
    lamp: str


class DayRows:
    """The days of all spots.

    What touches a day's readings after it was put here makes it stale in the same commit, and a stale day is
    never returned.  A day of which readings have been forgotten stays as it is.
    """

    def __init__(self, database: Database, identities: Identities) -> None:
        self._database = database
        self._identities = identities
        self._ends_ms: int | None = None
        database.when_undone.append(self._forget_ends)
        database.when_changed_elsewhere.append(self._forget_ends)

    def put(self, row: DayRow) -> None:
        """Store a day, in place of what was known of it."""
        with self._database.transaction():
            self._database.execute(
                "INSERT OR REPLACE INTO day_record"
                " (spot_id, day, start_ms, end_ms, calibration, profile, lamp, assigned)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    self._identities.spot(row.spot),
                    row.day,
                    row.start_ms,
                    row.end_ms,
                    row.calibration,
                    row.profile,
                    row.lamp,
                    row.assigned,
                ),
            )
            self._forget_ends()

    def put_lamp(self, row: LampRow) -> None:
        """Store what a day says of its lamp by another calibration, in place of what was known."""
        with self._database.transaction():
            self._database.execute(
                "INSERT OR REPLACE INTO lamp_day"
                " (spot_id, day, start_ms, end_ms, calibration, assigned, lamp)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    self._identities.spot(row.spot),
                    row.day,
                    row.start_ms,
                    row.end_ms,
                    row.calibration,
                    row.assigned,
                    row.lamp,
                ),
            )
            self._forget_ends()

    def between(self, spot: str, first_day: str, last_day: str) -> list[DayRow]:
        """Return the days of a spot from the first to the last, both in ISO 8601 and included, in order."""
        rows = self._database.rows(
            "SELECT spot, day, start_ms, end_ms, calibration, profile, lamp, assigned"
            " FROM day_record JOIN spot USING (spot_id)"
            " WHERE spot = ? AND day BETWEEN ? AND ? AND NOT stale ORDER BY day",
            (spot, first_day, last_day),
        )
        return [DayRow(*row) for row in rows]

    def months(self) -> list[str]:
        """Return the months (2025-05) of which there is a day of any spot, in order."""
        rows = self._database.rows(
            "SELECT DISTINCT substr(day, 1, 7) AS month FROM day_record WHERE NOT stale ORDER BY month"
        )
        return [month for (month,) in rows]

    def lamps_between(self, spot: str, first_day: str, last_day: str) -> list[LampRow]:
        """Return what `put_lamp` stored of such days, in order."""
        rows = self._database.rows(
            "SELECT spot, day, start_ms, end_ms, calibration, assigned, lamp"
            " FROM lamp_day JOIN spot USING (spot_id)"
            " WHERE spot = ? AND day BETWEEN ? AND ? AND NOT stale ORDER BY day",
            (spot, first_day, last_day),
        )
        return [LampRow(*row) for row in rows]

    def stale(self) -> list[tuple[str, str]]:
        """Return (spot, day) of what is to be made anew, the newest day first."""
        return [
            (spot, day)
            for spot, day in self._database.rows(
                "SELECT spot, day FROM day_record JOIN spot USING (spot_id) WHERE stale"
                " ORDER BY day DESC, spot"
            )
        ]

    def remove(self, spot: str, day: str) -> None:
        """Drop a day of which nothing is left."""
        with self._database.transaction():
            self._database.execute(
                "DELETE FROM day_record WHERE day = ?2"
                " AND spot_id = (SELECT spot_id FROM spot WHERE spot = ?1)",
                (spot, day),
            )

    def outdate(self, board_id: int, first_ms: int, last_ms: int) -> None:
        """Make stale the days for which readings of a board from `first_ms` to `last_ms` count."""
        if first_ms - AROUND_MS >= self._latest_end_ms():  # as nearly always: it is of today
            return
        for table in ("day_record", "lamp_day"):
            self._database.execute(
                f"UPDATE {table} SET stale = 1 WHERE start_ms <= ?2 + ?4 AND end_ms > ?1 - ?4"  # noqa: S608
                " AND spot_id IN"
                " (SELECT spot_id FROM assignment JOIN board USING (board) WHERE board_id = ?3)"
                " AND start_ms - ?4 >= ifnull((SELECT before_ms FROM forgotten WHERE board_id = ?3), -1e18)",
                (first_ms, last_ms, board_id, AROUND_MS),
            )

    def _latest_end_ms(self) -> int:
        if self._ends_ms is None:
            (self._ends_ms,) = self._database.row(
                "SELECT max(ifnull((SELECT max(end_ms) FROM day_record), 0),"
                " ifnull((SELECT max(end_ms) FROM lamp_day), 0))"
            ) or (0,)
        return self._ends_ms

    def _forget_ends(self) -> None:
        self._ends_ms = None
