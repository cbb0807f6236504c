"""What is on a board, before anything is done to it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from firmware_host.flash.errors import FlashError
from firmware_host.flash.scripts import LOOK, MANIFEST, STAGING, answer, planned
from firmware_host.flash.tool import Mpremote

_LEAST_VERSION: Final = (1, 24)
# A board answers within a second; mpremote itself waits 10 s for a prompt.
LOOK_TIMEOUT_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class BoardState:
    """A board as it was found.

    `files` and `written` hold SHA-256 sums by path: of what is there now, of all paths that the firmware
    uses; and of what was written by the last flashing.
    """

    version: tuple[int, ...]
    machine: str
    unique_id: str
    free_bytes: int
    files: Mapping[str, str]
    written: Mapping[str, str]

    @property
    def identity(self) -> str:
        """What the board calls itself once our firmware runs on it."""
        return f"uv-{self.unique_id}"


def look_at_board(tool: Mpremote, paths: Iterable[str]) -> BoardState:
    """Return what is at `paths` on the board.  Stops the program that runs there, and changes nothing."""
    wanted = {"paths": list(paths), "manifest": MANIFEST, "staging": STAGING}
    said = tool.run(planned(LOOK, wanted), timeout_s=LOOK_TIMEOUT_S)
    found = answer(said)
    if found is None:
        raise FlashError(
            "the board's prompt answered something else than expected",
            where=tool.port,
            remedy="Unplug the board, plug it in again, and give the same command again",
        )
    return _state(found, tool.port)


def _state(found: dict[str, Any], port: str) -> BoardState:
    version = tuple(found["version"])
    if found["name"] != "micropython" or version < _LEAST_VERSION:
        least = ".".join(map(str, _LEAST_VERSION))
        raise FlashError(
            f"the board runs {found['name']} {'.'.join(map(str, version))}; the firmware needs MicroPython"
            f" {least} or later",
            where=port,
            remedy="Put a newer MicroPython on it (hardware/README.md); that erases what is on it",
        )
    return BoardState(
        version,
        found["machine"],
        found["unique_id"],
        found["free_bytes"],
        found["files"],
        found["manifest"],
    )
