"""The store: one SQLite file, the truth of a bridge."""

import os
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import Self

from firmware_host.clock import Moment
from ingest.store.assignments import Assignments
from ingest.store.boards import Boards
from ingest.store.calibrations import Calibrations
from ingest.store.checks import Checks
from ingest.store.cursors import Cursors
from ingest.store.database import Database
from ingest.store.day_rows import DayRows
from ingest.store.dirty import DirtyMinutes
from ingest.store.errors import StoreError, read_only_disk
from ingest.store.events import Events
from ingest.store.identities import Identities
from ingest.store.judged import Judged
from ingest.store.lamp_changes import LampChanges
from ingest.store.lock import WriterLock
from ingest.store.migrations import MIGRATIONS
from ingest.store.minutes import Minutes
from ingest.store.outbox import Outbox
from ingest.store.readings import Readings
from ingest.store.runs import Runs
from ingest.store.schema import migrate, version_of
from ingest.store.told import ToldEvents


class Store:
    """Everything that a bridge keeps.

    It serves the thread that opened it; open another for another thread.  A power cut can lose what was
    committed since the last `sync`, and no more than that: events and unretained messages sync by themselves.
    A process that dies loses nothing that was committed.
    """

    def __init__(self, database: Database, lock: WriterLock) -> None:
        """Wrap an open and migrated database; use `Store.open`."""
        self._database = database
        self._lock = lock
        identities = Identities(database)
        dirty = DirtyMinutes(database)
        self.cursors = Cursors(database)
        self._runs = Runs(database, dirty, self.cursors)
        self.readings = Readings(database, identities, self._runs, dirty)
        self.minutes = Minutes(database, identities, dirty)
        self.assignments = Assignments(database, identities, dirty, self.readings.extent)
        self.calibrations = Calibrations(database)
        self.events = Events(database)
        self.outbox = Outbox(database)
        self.boards = Boards(database, identities)
        self.checks = Checks(database, identities)
        self.days = DayRows(database, identities)
        dirty.when_marked.append(self.days.outdate)
        self.judged = Judged(database, identities)
        self.lamp_changes = LampChanges(database)
        self.told = ToldEvents(database)

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Self:
        """Open the store at `path`; make it, or bring its format up to date, unless `read_only`."""
        _check_place(path, read_only=read_only)
        database = Database.connect(path, read_only=read_only)
        try:
            version = version_of(database)
            if not read_only:
                database.use_for_writing()
                migrate(database)
            elif version < len(MIGRATIONS):
                raise StoreError(
                    f"this store has format {version}, and reading it needs format {len(MIGRATIONS)}",
                    where=str(path),
                    remedy="Start the daemon once: it brings the store up to date",
                )
        except BaseException:
            database.close()
            raise
        return cls(database, WriterLock(path))

    def begin_run(self, moment: Moment) -> int:
        """Become the one process that appends readings, from `moment` on; return the number of the run.

        Refused while another process is.  The right is given back by `close`, or by the process's end.
        """
        self._lock.take()
        return self._runs.begin(moment, self.readings.position())

    def transaction(self) -> AbstractContextManager[None]:
        """Make all writes inside one commit: all of them or none."""
        return self._database.transaction()

    def sync(self) -> None:
        """Return when everything committed so far would survive a power cut."""
        self._database.sync()

    def close(self) -> None:
        """Give back the file and the right to append."""
        self._database.close()
        self._lock.give_back()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _check_place(path: Path, *, read_only: bool) -> None:
    """Refuse what SQLite would refuse in words that help nobody."""
    where = str(path)
    if not path.parent.is_dir():
        raise StoreError(f"there is no folder {path.parent}", where=where, remedy="Make it, or name another")
    if path.is_dir():
        raise StoreError("this is a folder", where=where, remedy="Name a file in it")
    if path.exists() and not os.access(path, os.R_OK if read_only else os.R_OK | os.W_OK):
        right = "read" if read_only else "read and write"
        raise read_only_disk(path) or StoreError(
            f"this user may not {right} the store",
            where=where,
            remedy="Be the daemon's user, or change its rights",
        )
    if read_only and not path.exists():
        raise StoreError(
            "there is no store yet", where=where, remedy="Start `baskline run` first, or name another file"
        )
