"""An exported file: whole or not at all, and over nothing that the keeper did not name."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from calibrate.errors import KeeperError
from calibrate.whole_file import flush_to_disk, not_written, unfinished


class ExportError(KeeperError):
    """Something that cannot be exported as asked."""


@contextmanager
def whole_file(path: Path, *, overwrite: bool) -> Iterator[Path]:
    """Give a name beside `path` to write to; when all went well, what is written there becomes `path`.

    What was at `path` stays as it was until then, and for good if anything goes wrong.
    """
    if path.is_dir():
        raise ExportError("this is a folder", where=str(path), remedy="Name a file in it")
    if path.exists() and not path.is_file():
        raise ExportError("this is no file", where=str(path), remedy="Name a file, or say - for the terminal")
    if path.exists() and not overwrite:
        raise ExportError(
            "this file is there already", where=str(path), remedy="Name another, or say --overwrite"
        )
    try:
        with unfinished(path) as partial:
            yield partial
            flush_to_disk(partial)
            partial.replace(path)
    except OSError as error:
        raise not_written(ExportError, path, error) from error
