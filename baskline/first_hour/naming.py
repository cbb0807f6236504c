"""A calibration named at its spot in the configuration, and nothing else of the file changed."""

import re
import tomllib
from pathlib import Path

from baskline.first_hour.keeping import KeepingError, change


def can_name(config_file: Path, spot: str) -> bool:
    """Return whether the spot has a table of its own, in which a line can be put."""
    return _with_calibration(config_file.read_bytes().decode("utf-8", "replace"), spot, "") is not None


def name_calibration(config_file: Path, spot: str, named: str) -> Path:
    """Name a calibration file at a spot; return the copy of what the configuration was."""
    before = config_file.read_bytes()
    text = before.decode("utf-8")
    changed = _with_calibration(text, spot, named)
    if changed is not None:
        wanted = tomllib.loads(text.removeprefix("\ufeff"))
        wanted["spot"][spot]["calibration"] = named
        if tomllib.loads(changed.removeprefix("\ufeff")) == wanted:
            return change(config_file, before, changed.encode())
    raise KeepingError(
        f"there is no plain place for it under [spot.{spot}]",
        where=str(config_file),
        remedy="Write it there by hand",
    )


def _with_calibration(text: str, spot: str, named: str) -> str | None:
    """Return the text with the line that names it, in place of one that does; None without such a table."""
    lines = text.splitlines(keepends=True)
    header = re.compile(rf"\s*\[\s*spot\s*\.\s*(['\"]?){re.escape(spot)}\1\s*\]")
    first = next((number for number, line in enumerate(lines) if header.match(line)), None)
    if first is None:
        return None
    newline = "\r\n" if lines[first].endswith("\r\n") else "\n"
    if not lines[first].endswith("\n"):
        lines[first] += newline
    written = f'calibration = "{named}"{newline}'
    after = range(first + 1, len(lines))
    end = next((number for number in after if lines[number].lstrip().startswith("[")), len(lines))
    for number in range(first + 1, end):
        if re.match(r"\s*calibration\s*=", lines[number]):
            lines[number] = written
            return "".join(lines)
    # Beside its keys, not before them: who reads the table looks for what it is first.
    keys = [number for number in range(first + 1, end) if re.match(r"\s*[\w\"'-]+\s*=", lines[number])]
    place = keys[-1] + 1 if keys else first + 1
    if not lines[place - 1].endswith("\n"):
        lines[place - 1] += newline
    lines.insert(place, written)
    return "".join(lines)
