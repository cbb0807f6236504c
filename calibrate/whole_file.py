"""A file that is there whole or not at all, whatever happens while it is written."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from calibrate.errors import KeeperError

_Refusal = TypeVar("_Refusal", bound=KeeperError)


@contextmanager
def unfinished(path: Path, mode: int | None = None) -> Iterator[Path]:
    """Give an empty file beside `path` to write to; what of it is still there at the end is removed.

    It has `mode` from the first, so that nobody else reads a secret, and its owner may write it; None
    leaves that to the user's umask.
    """
    partial = path.with_name(f".{path.name}.{os.getpid()}.new")
    partial.unlink(missing_ok=True)  # of a process that was killed and had this number
    new = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC
    fd = os.open(partial, new, 0o666 if mode is None else 0o600)
    try:
        try:
            if mode is not None:
                os.fchmod(fd, mode | stat.S_IWUSR)
        finally:
            os.close(fd)
        yield partial
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


def flush_to_disk(path: Path) -> None:
    """Return when what was written is safe from a pulled plug."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def fill(partial: Path, content: bytes, mode: int | None = None) -> None:
    """Write all of an unfinished file, and return when it is safe from a pulled plug."""
    partial.write_bytes(content)
    if mode is not None:
        partial.chmod(mode)  # which may be one that nobody may write
    flush_to_disk(partial)


def write_whole(path: Path, content: bytes, mode: int | None = None) -> None:
    """Let `path` hold `content`; raise `OSError` and leave what was there if that cannot be."""
    if path.exists() and not path.is_file():
        path.write_bytes(content)  # a device or a pipe is to take it, never to be replaced; a folder refuses
        return
    real = path.resolve()  # a link stays one
    with unfinished(real, mode) as partial:
        fill(partial, content, mode)
        partial.replace(real)


def not_written(kind: type[_Refusal], path: Path, error: OSError) -> _Refusal:
    """Return why a file could not be written, as an error of that kind."""
    return kind(
        f"cannot be written ({error.strerror or error})",
        where=str(path),
        remedy="Check the folder, its rights, and the room on the disk",
    )
