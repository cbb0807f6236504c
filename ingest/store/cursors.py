"""How far each mirror has come with the readings."""

from ingest.store.database import Database


class Cursors:
    """Positions as `Readings.since` returns them, by the name of the mirror.

    Re-stamping a run sets back every cursor that has passed it: mirrors get it again with its new times.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def get(self, name: str) -> int:
        """Return the position stored under `name`; 0, before everything, if there is none."""
        row = self._database.row("SELECT position FROM cursor WHERE name = ?", (name,))
        return row[0] if row else 0

    def set(self, name: str, position: int) -> None:
        """Store a position."""
        with self._database.transaction():
            self._database.execute("INSERT OR REPLACE INTO cursor VALUES (?, ?)", (name, position))

    def set_back(self, position: int) -> None:
        """Bring every cursor beyond `position` back to it."""
        with self._database.transaction():
            self._database.execute("UPDATE cursor SET position = ?1 WHERE position > ?1", (position,))
