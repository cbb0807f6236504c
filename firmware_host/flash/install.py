"""From what is on a board to the firmware on it, with no file lost that somebody else put there."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from calibrate.nearest import did_you_mean
from firmware_host.firmware_program import Program, known_sensors
from firmware_host.flash.board_state import BoardState
from firmware_host.flash.errors import FlashError
from firmware_host.flash.scripts import INSTALL, MANIFEST, PREPARE, SETTINGS, STAGING, answer, planned
from firmware_host.flash.tool import Mpremote

# The boards' file system, littlefs, gives out whole blocks of 4096 bytes.  Of a file's, up to 8 bytes each
# lead to the blocks before; a folder takes two.
_BLOCK_BYTES: Final = 4_096
_OF_THEM_FILES_BYTES: Final = _BLOCK_BYTES - 8
_FOLDER_BLOCKS: Final = 2
# The list of what was written and the settings, the old ones until the new ones are whole, and one to spare.
_OTHER_BLOCKS: Final = 5


@dataclass(frozen=True, slots=True)
class Plan:
    """What flashing would do.  `foreign`: files on the board that we did not write, or that were changed."""

    files: Mapping[str, bytes]
    write: tuple[str, ...]
    remove: tuple[str, ...]
    foreign: tuple[str, ...]

    @property
    def sums(self) -> dict[str, str]:
        """The SHA-256 sum of each file as it shall be."""
        return {path: _sum(content) for path, content in self.files.items()}


def plan_install(files: Mapping[str, bytes], there: BoardState) -> Plan:
    """Return what it takes to have exactly `files` on the board.

    A file that the last flashing wrote and that is no longer needed is removed if nobody changed it since.
    """
    write = tuple(path for path, content in files.items() if there.files.get(path) != _sum(content))
    foreign = tuple(
        path for path in write if path in there.files and there.files[path] != there.written.get(path)
    )
    remove = tuple(
        path
        for path, written in sorted(there.written.items())
        if path not in files and there.files.get(path) == written
    )
    return Plan(files, write, remove, foreign)


def needed_bytes(plan: Plan) -> int:
    """Return what must be free on the board: new files stand beside the old ones until all are right."""
    contents = sum(-(-len(plan.files[path]) // _OF_THEM_FILES_BYTES) for path in plan.write)
    return _BLOCK_BYTES * (contents + _FOLDER_BLOCKS * len(_folders(plan)) + _OTHER_BLOCKS)


def install(tool: Mpremote, plan: Plan, there: BoardState, *, overwrite: bool = False) -> None:
    """Do what the plan says; on return every file on the board has been verified by its hash there.

    Raises `FlashError`, before anything is changed, where it would overwrite what is not ours.
    """
    if plan.foreign and not overwrite:
        raise FlashError(
            f"files on the board would be overwritten that baskline did not write: {', '.join(plan.foreign)}",
            where=tool.port,
            remedy=(
                "Look at them (mpremote resume fs cat :main.py) and keep what you need; then give the same"
                " command with --overwrite. Firmware that was copied by hand counts as not ours too"
            ),
        )
    folders = _folders(plan)
    needed = needed_bytes(plan)
    if plan.write and there.free_bytes < needed:
        raise FlashError(
            f"the board has {there.free_bytes // 1024} kB left, and the firmware needs {needed // 1024} kB",
            where=tool.port,
            remedy="Remove files of yours from it: mpremote resume fs ls, mpremote resume fs rm :FILE",
        )
    with TemporaryDirectory() as folder:
        copies = []
        for number, path in enumerate(plan.write):
            local = Path(folder) / f"{number}.py"
            local.write_bytes(plan.files[path])
            copies.append(["fs", "cp", "--force", str(local), f":{STAGING}/{path}"])
        sums = plan.sums
        orders = {
            "staging": STAGING,
            "folders": folders,
            "manifest": MANIFEST,
            "write": {path: sums[path] for path in plan.write},
            "remove": list(plan.remove),
            "files": sums,
        }
        said = answer(tool.run(planned(PREPARE, orders), *copies, planned(INSTALL, orders)))
    if said is None or said["wrong"]:
        wrong = "everything" if said is None else ", ".join(said["wrong"])
        raise FlashError(
            f"what arrived on the board is not what was sent: {wrong}",
            where=tool.port,
            remedy="Try another cable or another USB socket, and give the same command again",
        )


def check_settings(changes: Mapping[str, object]) -> None:
    """Raise `FlashError` for settings that the firmware would refuse, by its own rules, with no board."""
    settings = Program({}).module("settings")
    for name, value in changes.items():
        problem = settings.problem(name, value)
        if problem is not None:
            raise FlashError(problem, remedy="hardware/README.md lists the settings")
    sensor = changes.get("sensor")
    if sensor is not None and sensor not in known_sensors():
        remedy = did_you_mean(str(sensor), known_sensors())
        raise FlashError(f"{sensor!r} is no sensor that the firmware knows", remedy=remedy)


def change_settings(tool: Mpremote, changes: Mapping[str, object]) -> Mapping[str, object]:
    """Change settings of a board that has the firmware, from its next start on; return all of them."""
    said = answer(tool.run(planned(SETTINGS, dict(changes))))
    if said is None or "settings" not in said:
        reason = "gave no answer" if said is None else f"refused: {said['refused']}"
        raise FlashError(
            f"the settings could not be kept: the board {reason}",
            where=tool.port,
            remedy="The firmware is on the board; give the same command again",
        )
    settings: Mapping[str, object] = said["settings"]
    return settings


def restart(tool: Mpremote) -> None:
    """Start the board anew, with what is on it."""
    tool.run(["reset"])


def _folders(plan: Plan) -> list[str]:
    """Return the folders that must be there, outer ones first: those of the staging, and the files' own."""
    inner = sorted({str(Path(path).parent) for path in plan.write} - {"."})
    return [STAGING, *(f"{STAGING}/{folder}" for folder in inner), *inner]


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
