"""What can go wrong with a store, in the keeper's words."""

import os
import sqlite3
from pathlib import Path

from calibrate.errors import KeeperError


class StoreError(KeeperError):
    """The store cannot be opened, read or written; the message says what to do."""


# By the primary part of SQLite's own error name.  What SQLite calls the thing is no help to a keeper.
_SAID = {
    "SQLITE_FULL": ("the disk is full", "Free some space; nothing that was stored before is lost."),
    "SQLITE_BUSY": (
        "another program has been writing to the store for too long",
        "Wait for it to end (a backup? an open database browser?) and try again.",
    ),
    "SQLITE_LOCKED": ("the store is in use elsewhere in this program", "Try again."),
    "SQLITE_NOTADB": (
        "this file is not a store: it is not an SQLite database",
        "Name another file, or move this one away to begin a new store.",
    ),
    "SQLITE_CORRUPT": (
        "the store is damaged",
        "Keep a copy of the file and its -wal, then restore a backup or rescue what is readable with "
        "the sqlite3 program's .recover command. Check the disk or card.",
    ),
    "SQLITE_READONLY": (
        "this user may not write in the store's folder, and while no daemon runs even reading needs to",
        "Be the daemon's user, start the daemon, or give this user the right to write the folder.",
    ),
    "SQLITE_CANTOPEN": (
        "the store cannot be opened",
        "Check that the folder exists and that this user may read and write in it.",
    ),
    "SQLITE_PERM": ("the store may not be opened", "Give this user the right to read and write the file."),
    "SQLITE_IOERR": ("reading or writing the store failed", "Check the disk or card and its free space."),
}


# What SQLite says where nothing can be written, which on a disk for reading alone is no matter of rights.
_FOR_WANT_OF_WRITING = ("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")


def read_only_disk(path: Path) -> StoreError | None:
    """Return the refusal of a disk that can only be read, if it is one: reading a store writes beside it."""
    try:
        read_only = os.statvfs(path.absolute().parent).f_flag & os.ST_RDONLY
    except OSError:
        return None
    if not read_only:
        return None
    return StoreError(
        "the store's disk can only be read",
        where=str(path),
        remedy="The system often makes a card so at its end: copy the store from it, and put in a new one",
    )


def said_plainly(error: sqlite3.Error, path: Path) -> StoreError:
    """Return the keeper's version of what SQLite said."""
    name = getattr(error, "sqlite_errorname", "") or ""
    if name.startswith(_FOR_WANT_OF_WRITING) and (refusal := read_only_disk(path)) is not None:
        return refusal
    for known, (what, remedy) in _SAID.items():
        if name.startswith(known):
            return StoreError(what, where=str(path), remedy=remedy)
    return StoreError(f"the store refused: {error}", where=str(path), remedy="Please report this")
