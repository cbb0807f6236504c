"""The file to which `run --capture` writes everything that happens on the links."""

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from firmware_host.capture import CaptureError, CaptureWriter
from firmware_host.traffic import Traffic

_FLUSH_EVERY_MS: Final = 1_000


class CaptureFile:
    """Writes traffic to a file as it comes, in the format of firmware_host/CAPTURE.md."""

    def __init__(self, path: Path) -> None:
        """Start a new file; an existing one is refused, because it may be all that is left of some day."""
        try:
            self._stream = path.open("xb")
        except FileExistsError:
            raise CaptureError(
                "there is a file of that name already",
                where=str(path),
                remedy="Name another one, or move it away",
            ) from None
        except OSError as error:
            raise CaptureError(
                f"cannot be written ({error.strerror})", where=str(path), remedy="Name another place"
            ) from None
        self._writer = CaptureWriter(self._stream)
        self._flushed_ms = 0

    def write(self, traffic: Iterable[Traffic]) -> None:
        """Append what happened; once a second it is handed to the system."""
        for item in traffic:
            self._writer.write(item)
            if item.at.mono_ms - self._flushed_ms >= _FLUSH_EVERY_MS:
                self._stream.flush()
                self._flushed_ms = item.at.mono_ms

    def close(self) -> None:
        """Close the file."""
        self._stream.close()
