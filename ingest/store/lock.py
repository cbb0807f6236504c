"""One daemon a store: a lock that the system gives back by itself when its holder dies."""

import fcntl
import os
from pathlib import Path

from ingest.store.errors import StoreError


class WriterLock:
    """The right to add readings to a store, held through a file beside it."""

    def __init__(self, store_path: Path) -> None:
        self._store_path = store_path
        self._path = Path(f"{store_path}.lock")
        self._fd: int | None = None

    @property
    def held(self) -> bool:
        """Whether this object holds it."""
        return self._fd is not None

    def take(self) -> None:
        """Take the lock, or say who has it."""
        if self._fd is not None:
            return
        try:
            fd = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise StoreError(
                f"cannot make the lock file: {error.strerror}",
                where=str(self._path),
                remedy="Give this user the right to write in the folder of the store.",
            ) from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            holder = os.pread(fd, 20, 0).decode("ascii", "replace").strip()
            os.close(fd)
            raise StoreError(
                f"another daemon is writing to this store{f' (process {holder})' if holder else ''}",
                where=str(self._store_path),
                remedy="Stop that one first, or give this one a store of its own.",
            ) from error
        except OSError as error:
            os.close(fd)
            raise StoreError(
                f"this file system cannot lock files: {error.strerror}",
                where=str(self._path),
                remedy="Keep the store on a local disk.",
            ) from error
        os.ftruncate(fd, 0)
        os.pwrite(fd, f"{os.getpid()}\n".encode(), 0)
        self._fd = fd

    def give_back(self) -> None:
        """Let the next one have it.  The file stays: deleting it would let two hold it at once."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None


def is_held(store_path: Path) -> bool:
    """Return whether some process has the right to add readings to the store now."""
    try:
        fd = os.open(f"{store_path}.lock", os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(fd)
    return False
