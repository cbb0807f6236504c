"""The boards' own program: where its files are, in the source tree as in an installed package."""

from importlib import resources
from pathlib import Path
from typing import Final

from calibrate.errors import KeeperError

# Where the built package puts what is hardware/firmware/ in the source tree.
_PACKAGED: Final = "firmware"
_IN_SOURCE: Final = Path("hardware") / "firmware"


class FirmwareMissingError(KeeperError):
    """The boards' program did not come with this installation."""


def firmware_folder() -> Path:
    """Return the folder with the boards' program."""
    package = resources.files("firmware_host")
    assert isinstance(package, Path), "installed as files: the package is never zipped"
    for folder in (package / _PACKAGED, package.parent / _IN_SOURCE):
        if (folder / "main.py").is_file():
            return folder
    raise FirmwareMissingError(
        "the boards' firmware did not come with this installation",
        where=str(package / _PACKAGED),
        remedy="Install baskline again",
    )


def firmware_files() -> dict[str, bytes]:
    """Return the content of each file of the boards' program, by its path on the board."""
    folder = firmware_folder()
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*.py"))}
