"""A file that is there whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from calibrate.errors import KeeperError


class ExportError(KeeperError):
    """Something that cannot be exported as asked."""


@contextmanager
def whole_file(path: Path, *, overwrite: bool) -> Iterator[Path]:
    """Give a name beside `path` to write to; when all went well, what is written there becomes `path`.

    What was at `path` stays as it was until then, and for good if anything goes wrong.
    """
    if path.is_dir():
        raise ExportError("this is a folder", where=str(path), remedy="Name a file in it")
    if path.exists() and not overwrite:
        raise ExportError(
            "this file is there already", where=str(path), remedy="Name another, or say --overwrite"
        )
    partial = path.with_name(f".{path.name}.{os.getpid()}.partial")
    try:
        with partial.open("xb"):
            pass
        yield partial
        with partial.open("rb") as written:
            os.fsync(written.fileno())
        partial.replace(path)
    except OSError as error:
        raise ExportError(
            f"cannot be written ({error.strerror or error})",
            where=str(path),
            remedy="Check the folder, its rights, and the room on the disk",
        ) from error
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)
