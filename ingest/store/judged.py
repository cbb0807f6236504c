"""How far the days of each spot have been judged, and what was found true at the end of the last of them."""

import json
from collections.abc import Iterable
from dataclasses import dataclass

from ingest.store.database import Database
from ingest.store.identities import Identities


@dataclass(frozen=True, slots=True)
class StandingRow:
    """Something that was so at the end of the last day that was judged: kind, cause and severity as text."""

    kind: str
    about: str
    severity: str


class Judged:
    """The end of each spot's last judged day, in UTC milliseconds since the epoch, and what stood then."""

    def __init__(self, database: Database, identities: Identities) -> None:
        self._database = database
        self._identities = identities

    def through(self, spot: str) -> int | None:
        """Return up to when the spot's days have been judged; None if none ever was."""
        row = self._database.row(
            "SELECT through_ms FROM judged JOIN spot USING (spot_id) WHERE spot = ?", (spot,)
        )
        return None if row is None else int(row[0])

    def set_through(self, spot: str, through_ms: int) -> None:
        """Record up to when the spot's days have been judged."""
        with self._database.transaction():
            self._database.execute(
                "INSERT OR REPLACE INTO judged VALUES (?, ?)", (self._identities.spot(spot), through_ms)
            )

    def keep_only(self, spots: Iterable[str]) -> None:
        """Forget all other spots."""
        kept = json.dumps([self._identities.spot(spot) for spot in spots])
        with self._database.transaction():
            for table in ("judged", "standing"):
                self._database.execute(
                    f"DELETE FROM {table} WHERE spot_id NOT IN (SELECT value FROM json_each(?))",  # noqa: S608
                    (kept,),
                )

    def standing(self, spot: str) -> list[StandingRow]:
        """Return what was so at the end of the spot's last judged day."""
        rows = self._database.rows(
            "SELECT kind, about, severity FROM standing JOIN spot USING (spot_id) WHERE spot = ?"
            " ORDER BY kind",
            (spot,),
        )
        return [StandingRow(*row) for row in rows]

    def set_standing(self, spot: str, standing: Iterable[StandingRow]) -> None:
        """Record what is so at the end of the spot's last judged day."""
        spot_id = self._identities.spot(spot)
        with self._database.transaction():
            self._database.execute("DELETE FROM standing WHERE spot_id = ?", (spot_id,))
            self._database.execute_many(
                "INSERT INTO standing VALUES (?, ?, ?, ?)",
                [(spot_id, each.kind, each.about, each.severity) for each in standing],
            )
