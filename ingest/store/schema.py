"""Which tables a store has, and how an older one is brought up to date."""

from ingest.store.database import Database
from ingest.store.errors import StoreError
from ingest.store.migrations import MIGRATIONS

# In the file's header, so that a stranger's database is never taken for a store: "BKst" in ASCII.
APPLICATION_ID = 0x424B7374


def version_of(database: Database) -> int:
    """Return the number of the last migration that this file has; 0 for a new one."""
    with database.snapshot():  # another process may be making the tables just now
        (application,) = database.row("PRAGMA application_id") or (0,)
        (version,) = database.row("PRAGMA user_version") or (0,)
        (tables,) = database.row("SELECT count(*) FROM sqlite_schema") or (0,)
    if tables and application != APPLICATION_ID:
        raise StoreError(
            "this SQLite database belongs to something else",
            where=str(database.path),
            remedy="Name another file for the store",
        )
    if version > len(MIGRATIONS):
        raise StoreError(
            f"this store has format {version}, and this program knows formats up to {len(MIGRATIONS)}",
            where=str(database.path),
            remedy="Install the newer version that wrote it; the store was left as it is",
        )
    return int(version)


def migrate(database: Database) -> None:
    """Bring the tables up to date; each step and its record are one commit."""
    while (done := version_of(database)) < len(MIGRATIONS):
        with database.transaction():
            if version_of(database) != done:  # another process was faster
                continue
            if done == 0:
                database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                database.execute(
                    "CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT"
                )
            step = MIGRATIONS[done]
            for statement in step.statements:
                database.execute(statement)
            database.execute("INSERT INTO migration VALUES (?, ?)", (done + 1, step.name))
            database.execute(f"PRAGMA user_version = {done + 1}")
