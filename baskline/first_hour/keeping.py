"""The configuration file on the disk: whole or not at all, and never less than it was."""

import itertools
import os
import stat
from contextlib import suppress
from pathlib import Path

from calibrate.errors import KeeperError
from calibrate.whole_file import fill, unfinished, write_whole
from ingest.config import ConfigError, parse_config


class KeepingError(KeeperError):
    """A configuration that cannot be written; what was there is there still."""


def refuse_early(path: Path) -> None:
    """Raise what would keep the file from being written, before anything is asked."""
    folder = path.parent
    if not folder.is_dir():
        raise KeepingError(f"there is no folder {folder}", where=str(path), remedy="Make it first")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise KeepingError(
            f"nothing can be written into the folder {folder.resolve()}",
            where=str(path),
            remedy="Go to a folder of your own, or name a file in one with --config",
        )


def write_new(path: Path, text: str) -> None:
    """Write a configuration that is not there yet."""
    _proved(path, text)
    write_new_file(path, text)


def write_new_file(path: Path, text: str) -> None:
    """Write a file that is not there yet, whole or not at all."""
    try:
        _write_once(path, text.encode(), 0o644)
    except FileExistsError:
        raise KeepingError(
            "it has come into being meanwhile, and is left alone", where=str(path), remedy="Run init again"
        ) from None
    except OSError as error:
        raise _refused(path, error) from None


def add(path: Path, before: bytes, more: str) -> Path:
    """Put `more` after all that the file has, and return the copy of what it was before, as `change` does."""
    newline = "\r\n" if b"\r\n" in before else "\n"
    gap = "" if before.endswith(b"\n") or not before else newline
    return change(path, before, before + (gap + more.replace("\n", newline)).encode())


def change(path: Path, before: bytes, whole: bytes) -> Path:
    """Let the file be `whole`, and return the copy of what it was before.

    `before` is what the file held when the keeper was asked; a file that has changed since is left alone.
    """
    _proved(path, whole.decode("utf-8-sig"))
    real = path.resolve()  # a link stays one
    try:
        if real.read_bytes() != before:
            raise KeepingError(
                "it was changed meanwhile, and is left alone", where=str(path), remedy="Begin again"
            )
        mode = stat.S_IMODE(real.stat().st_mode)
        backup = _kept(real, before, mode)
        write_whole(real, whole, mode)
    except OSError as error:
        raise _refused(path, error) from None
    return backup


def _proved(path: Path, text: str) -> None:
    try:
        parse_config(text, file=path)
    except ConfigError as error:
        raise KeepingError(
            f"with these answers it could not be read ({error.what})",
            where=str(path),
            remedy="Nothing was written. Write it by hand: ingest/CONFIG.md",
        ) from None


def _kept(path: Path, content: bytes, mode: int) -> Path:
    """Keep a copy under the next free number."""
    for number in itertools.count(1):
        copy = path.with_name(f"{path.name}.{number}")
        with suppress(FileExistsError):
            _write_once(copy, content, mode)
            return copy
    raise AssertionError("numbers do not end")


def _write_once(path: Path, content: bytes, mode: int) -> None:
    """Write a file whole, unless another has its name: then raise `FileExistsError`."""
    with unfinished(path, mode) as partial:
        fill(partial, content, mode)
        with suppress(PermissionError, NotImplementedError):
            path.hardlink_to(partial)
            return
        if path.exists():  # a disk without links, such as a memory card for cameras
            raise FileExistsError
        partial.replace(path)


def _refused(path: Path, error: OSError) -> KeepingError:
    return KeepingError(
        f"cannot be written ({error.strerror or error})", where=str(path), remedy="Make room, or name another"
    )
