"""What is wrong with a configuration, all of it at once."""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple, TypeAlias

from calibrate.errors import KeeperError

KeyPath: TypeAlias = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


class Finding(NamedTuple):
    """What is wrong at one key, in words that follow the key, and the remedy as an instruction."""

    path: KeyPath
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right: which key, on which line, `what` is wrong, and the `remedy`.

    `path` is empty for the file as a whole; `line` counts from 1 and is None where no line is to blame.
    """

    file: Path
    line: int | None
    path: KeyPath
    what: str
    remedy: str

    @property
    def key(self) -> str:
        """The path as it is written in the file: `spot.ledge.lamp`."""
        return dotted(self.path)

    @property
    def place(self) -> str:
        """Line and key, as far as they are known."""
        line = "" if self.line is None else f"line {self.line}"
        return ", ".join(part for part in (line, self.key) if part)

    def __str__(self) -> str:
        place = f"{self.place}: " if self.place else ""
        return f"{place}{self.what}. {self.remedy}"


class ConfigError(KeeperError):
    """A configuration that cannot be used, with every problem that was found in it."""

    def __init__(self, file: Path, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda problem: (problem.line or 0, problem.key)))
        if len(self.problems) == 1:
            only = self.problems[0]
            where = f"{file}, {only.place}" if only.place else str(file)
            super().__init__(only.what, where=where, remedy=only.remedy)
        else:
            lines = "".join(f"\n  {problem}" for problem in self.problems)
            super().__init__(f"{len(self.problems)} things to put right{lines}", where=str(file))


def dotted(path: KeyPath) -> str:
    """Return a key path in TOML's own spelling."""
    return ".".join(_segment(part) for part in path)


def _segment(part: str | int) -> str:
    if isinstance(part, int):
        return str(part)
    return part if _BARE_KEY.fullmatch(part) else json.dumps(part, ensure_ascii=False)
