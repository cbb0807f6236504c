"""One SQLite connection: how it is set up, its transactions, and its errors in plain words."""

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self, TypeAlias

from ingest.store.errors import StoreError, said_plainly

Row: TypeAlias = tuple[Any, ...]

# How long to wait for another process's write (a keeper acknowledging, a backup) before giving up.
# All of our own writes take milliseconds; a slow card may take a second or two for a checkpoint.
BUSY_TIMEOUT_MS = 10_000

_FOR_WRITING = (
    # The write-ahead log is flushed to the disk before each checkpoint, by `sync`, and after each commit that
    # said `want_sync`.  FULL would flush it after every commit of readings, which on a card takes up to a
    # tenth of a second and wears it.  Either way a power cut leaves a store that opens, with all commits up
    # to some moment and none after it; with NORMAL that is the last flush, or later if the system wrote more.
    "synchronous = NORMAL",
    # A checkpoint each 1000 pages (4 MB).  Pages at the end of the tail are touched by dozens of commits and
    # then go to their place once; more log would be more to walk through after a power cut.
    "wal_autocheckpoint = 1000",
    # A log that one large step made long is cut back, so that it does not hold the room on a small card.
    "journal_size_limit = 16777216",
    # Some systems build SQLite to write zeros over what is deleted: one more write a page, for nothing here.
    "secure_delete = OFF",
)


class Database:
    """A connection to one store file, used by one thread."""

    def __init__(self, path: Path, connection: sqlite3.Connection, *, read_only: bool) -> None:
        self.path = path
        self.read_only = read_only
        self._connection = connection
        self._depth = 0
        self._sync_wanted = False
        self._wal_fd: int | None = None
        self._data_version = -1
        self.when_undone: list[Callable[[], None]] = []
        self.when_changed_elsewhere: list[Callable[[], None]] = []

    @classmethod
    def connect(cls, path: Path, *, read_only: bool) -> Self:
        """Open the file, which is made if it does not exist and may be written."""
        uri = f"{path.absolute().as_uri()}?mode={'ro' if read_only else 'rwc'}"
        try:
            connection = sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None)
        except sqlite3.Error as error:
            raise said_plainly(error, path) from error
        return cls(path, connection, read_only=read_only)

    def use_for_writing(self) -> None:
        """Set the connection up for writing, or say why it cannot be."""
        row = self.row("PRAGMA journal_mode = WAL")
        if row != ("wal",):
            raise StoreError(
                "this file system cannot hold a store: it lacks what SQLite's write-ahead log needs",
                where=str(self.path),
                remedy="Keep the store on a local disk",
            )
        for setting in _FOR_WRITING:
            self.execute(f"PRAGMA {setting}")

    def execute(self, sql: str, values: Sequence[object] = ()) -> sqlite3.Cursor:
        """Run one statement."""
        try:
            return self._connection.execute(sql, values)
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error

    def execute_many(self, sql: str, rows: Iterable[Sequence[object]]) -> None:
        """Run one statement for each of `rows`."""
        try:
            self._connection.executemany(sql, rows)
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error

    def rows(self, sql: str, values: Sequence[object] = ()) -> list[Row]:
        """Return all rows of a query."""
        try:
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error

    def row(self, sql: str, values: Sequence[object] = ()) -> Row | None:
        """Return the first row of a query, or None."""
        try:
            found: Row | None = self._connection.execute(sql, values).fetchone()
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error
        return found

    def walk(self, sql: str, values: Sequence[object] = ()) -> Iterator[Row]:
        """Yield the rows of a query one by one; meant to be left early."""
        try:
            yield from self._connection.execute(sql, values)
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Make everything inside one commit: all of it or nothing.

        Inside another transaction it becomes a part of that one, which can still fail alone.
        """
        if self.read_only:
            raise StoreError("the store was opened only for reading", where=str(self.path))
        level = self._depth
        self.execute("BEGIN IMMEDIATE" if level == 0 else f"SAVEPOINT level_{level}")
        self._depth += 1
        try:
            if level == 0:
                self._notice_changes_elsewhere()
            yield
            self.execute("COMMIT" if level == 0 else f"RELEASE level_{level}")
        except BaseException:
            self._undo(level)
            raise
        finally:
            self._depth = level
        if level == 0 and self._sync_wanted:
            self.sync()

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Let all reads inside see one state, whatever another process commits meanwhile."""
        if self._connection.in_transaction:
            yield
            return
        self.execute("BEGIN")
        try:
            self._notice_changes_elsewhere()
            yield
        finally:
            if self._connection.in_transaction:  # a full disk makes SQLite end it by itself
                self.execute("COMMIT")

    def want_sync(self) -> None:
        """Have the running transaction on the disk itself, not only with the system, once it is committed."""
        self._sync_wanted = True

    def sync(self) -> None:
        """Return when everything committed so far would survive a power cut.

        With `synchronous=NORMAL` SQLite leaves its write-ahead log to the system between checkpoints.
        Flushing that one file is what `synchronous=FULL` would do at each commit.
        """
        self._sync_wanted = False
        try:
            if self._wal_fd is None:
                # Kept open: SQLite holds its locks through other files, so this one disturbs none.
                self._wal_fd = os.open(f"{self.path}-wal", os.O_RDONLY | os.O_CLOEXEC)
                _sync_folder(self.path.absolute().parent)  # or the name of a new file might be lost
            os.fsync(self._wal_fd)
        except OSError as error:
            raise StoreError(f"flushing the store failed: {error.strerror}", where=str(self.path)) from error

    def close(self) -> None:
        """Close the connection; a transaction still open is undone."""
        if self._wal_fd is not None:
            os.close(self._wal_fd)
            self._wal_fd = None
        try:
            self._connection.close()
        except sqlite3.Error as error:
            raise said_plainly(error, self.path) from error

    def _undo(self, level: int) -> None:
        if self._connection.in_transaction:  # a full disk makes SQLite undo the whole by itself
            if level == 0:
                self._connection.execute("ROLLBACK")
            else:
                self._connection.execute(f"ROLLBACK TO level_{level}")
                self._connection.execute(f"RELEASE level_{level}")
        if level == 0:
            self._sync_wanted = False
        for forget in self.when_undone:
            forget()

    def _notice_changes_elsewhere(self) -> None:
        (version,) = self.row("PRAGMA data_version") or (0,)
        if version != self._data_version:
            self._data_version = version
            for forget in self.when_changed_elsewhere:
                forget()


def _sync_folder(folder: Path) -> None:
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
