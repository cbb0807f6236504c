"""Every calibration that ever gave a number, word for word."""

from ingest.store.database import Database
from ingest.store.errors import StoreError


class Calibrations:
    """Calibration files by identity, so that an old answer can be explained after its file is gone."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, identity: str, toml_text: str) -> None:
        """Keep a calibration; the same one again changes nothing."""
        with self._database.transaction():
            known = self.get(identity)
            if known == toml_text:
                return
            if known is not None:
                raise StoreError(
                    f"another calibration is stored under the identity {identity}",
                    where=str(self._database.path),
                    remedy="An identity is made from the content; let the program make it, never a person",
                )
            self._database.execute("INSERT INTO calibration VALUES (?, ?)", (identity, toml_text))

    def get(self, identity: str) -> str | None:
        """Return the calibration's text, or None."""
        row = self._database.row("SELECT toml FROM calibration WHERE identity = ?", (identity,))
        return row[0] if row else None

    def identities(self) -> list[str]:
        """Return the identities of all calibrations, in order of the alphabet."""
        return [
            identity
            for (identity,) in self._database.rows("SELECT identity FROM calibration ORDER BY identity")
        ]
