"""One daemon a store: a lock that the system gives back by itself when its holder dies."""

import fcntl
import os
import struct
from pathlib import Path
from typing import Final

from ingest.store.errors import StoreError

# struct flock of Linux: type, whence, start, length (0: to the end), process (0 for a lock of an open file).
_FLOCK: Final = struct.Struct("hhqqi0q")


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
                remedy="Give this user the right to write in the folder of the store",
            ) from error
        try:
            fcntl.fcntl(fd, fcntl.F_OFD_SETLK, _whole_file(fcntl.F_WRLCK))
        except (BlockingIOError, PermissionError) as error:  # POSIX allows either
            holder = os.pread(fd, 20, 0).decode("ascii", "replace").strip()
            os.close(fd)
            raise StoreError(
                f"another daemon is writing to this store{f' (process {holder})' if holder else ''}",
                where=str(self._store_path),
                remedy="Stop that one first, or give this one a store of its own",
            ) from error
        except OSError as error:
            os.close(fd)
            raise StoreError(
                f"this file system cannot lock files: {error.strerror}",
                where=str(self._path),
                remedy="Keep the store on a local disk",
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
    """Return whether some process has the right to add readings to the store now.

    It only asks: one who looks never keeps a daemon from starting.
    """
    try:
        fd = os.open(f"{store_path}.lock", os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    except OSError as error:
        raise StoreError(
            f"cannot look at the lock file: {error.strerror}",
            where=f"{store_path}.lock",
            remedy="Be the daemon's user, or change the file's rights",
        ) from error
    try:
        answer = fcntl.fcntl(fd, fcntl.F_OFD_GETLK, _whole_file(fcntl.F_WRLCK))
    finally:
        os.close(fd)
    return int(_FLOCK.unpack(answer)[0]) != fcntl.F_UNLCK


def _whole_file(kind: int) -> bytes:
    return _FLOCK.pack(kind, os.SEEK_SET, 0, 0, 0)
