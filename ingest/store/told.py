"""What the keeper was told of which events."""

from collections.abc import Mapping

from exposure.attention import Told
from exposure.events import Severity
from ingest.store.database import Database


class ToldEvents:
    """What was told last of each event that may still be told of, by identity."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def all(self) -> dict[str, Told]:
        """Return what was told."""
        rows = self._database.rows("SELECT identity, severity, times, at_ms FROM told")
        return {identity: Told(Severity(severity), times, at_ms) for identity, severity, times, at_ms in rows}

    def replace(self, before: Mapping[str, Told], after: Mapping[str, Told]) -> None:
        """Let `after` be on record where `before`, as `all` returned it, was."""
        with self._database.transaction():
            self._database.execute_many(
                "DELETE FROM told WHERE identity = ?",
                [(identity,) for identity in before.keys() - after.keys()],
            )
            self._database.execute_many(
                "INSERT OR REPLACE INTO told VALUES (?, ?, ?, ?)",
                [
                    (identity, told.severity, told.times, told.at_ms)
                    for identity, told in after.items()
                    if before.get(identity) != told
                ],
            )
