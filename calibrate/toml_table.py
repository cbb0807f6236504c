"""A TOML table read key by key, with errors that name the file, the key, and what would be right."""

import math
from datetime import date, datetime
from typing import Any

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean, misspelt


class CalibrationFileError(KeeperError):
    """A calibration file that cannot be read as one."""


class TomlTable:
    """One table of a file; `at` is its dotted key, empty for the whole file.

    Each method takes a key out; `close` then refuses what is left, because an unknown key is a mistake
    that would otherwise change an answer silently.
    """

    def __init__(self, content: dict[str, Any], *, file: str, at: str = "") -> None:
        self._left = dict(content)
        self._taken: list[str] = []
        self._file = file
        self._at = at

    def error(self, key: str, what: str, remedy: str = "") -> CalibrationFileError:
        """Return an error about a key of this table."""
        dotted = ".".join(filter(None, (self._at, key)))
        return CalibrationFileError(what, where=f"{self._file}, {dotted}", remedy=remedy)

    def names(self) -> tuple[str, ...]:
        """Return the keys not yet taken, in the order of the file."""
        return tuple(self._left)

    def has(self, key: str) -> bool:
        """Say whether a key is there and not yet taken; it counts as known from now on."""
        self._taken.append(key)
        return key in self._left

    def number(self, key: str, default: float | None = None) -> float:
        """Take a finite number."""
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.error(key, f"{value!r} is not a finite number", f"Write it as {key} = 1.5")
        return float(value)

    def integer(self, key: str, default: int | None = None) -> int:
        """Take a whole number."""
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.error(key, f"{value!r} is not a whole number", f"Write it as {key} = 365")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        """Take a string."""
        value = self._take(key, default)
        if not isinstance(value, str):
            raise self.error(key, f"{value!r} is not text", f'Write it in quotes: {key} = "…"')
        return value

    def day(self, key: str) -> date:
        """Take a local date."""
        value = self._take(key, None)
        if isinstance(value, datetime) or not isinstance(value, date):
            raise self.error(key, f"{value!r} is not a date", f"Write it without quotes: {key} = 2026-03-21")
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        """Take an array of finite numbers."""
        value = self._take(key, None)
        inner = self._array(key, value, "numbers", f"Write it as {key} = [0.0, 8.0]")
        return tuple(inner.number(index) for index in inner.names())

    def rows(self, key: str) -> tuple[tuple[float, ...], ...]:
        """Take an array of arrays of finite numbers."""
        value = self._take(key, None)
        inner = self._array(key, value, "rows of numbers", f"Write it as {key} = [[1.0, 0.0], [0.0, 1.0]]")
        return tuple(inner.numbers(index) for index in inner.names())

    def texts(self, key: str) -> tuple[str, ...]:
        """Take an array of strings."""
        value = self._take(key, None)
        inner = self._array(key, value, "texts", f'Write it as {key} = ["…", "…"]')
        return tuple(inner.text(index) for index in inner.names())

    def pair(self, key: str) -> tuple[float, float]:
        """Take an array of two numbers."""
        value = self.numbers(key)
        if len(value) != 2:
            raise self.error(key, f"{len(value)} numbers where two belong", f"Write it as {key} = [0.0, 8.0]")
        return value[0], value[1]

    def table(self, key: str) -> "TomlTable":
        """Take a table."""
        value = self._take(key, None)
        if not isinstance(value, dict):
            raise self.error(key, f"{value!r} is not a table", f"Begin it with [{key}] on a line of its own")
        return TomlTable(value, file=self._file, at=".".join(filter(None, (self._at, key))))

    def tables(self, key: str) -> "tuple[TomlTable, ...]":
        """Take an array of tables; none if the key is absent."""
        value = self._take(key, [])
        inner = self._array(key, value, "tables", f"Begin each with [[{key}]] on a line of its own")
        return tuple(inner.table(index) for index in inner.names())

    def close(self) -> None:
        """Refuse what has not been taken."""
        for key in self._left:
            raise self.error(key, "unknown key", did_you_mean(key, self._taken))

    def _take(self, key: str, default: object) -> Any:
        self._taken.append(key)
        value = self._left.pop(key, default)
        if value is None:
            remedy = misspelt(key, self._left) or f"Add {key}"
            raise self.error(key, "is missing", remedy)
        return value

    def _array(self, key: str, value: object, of: str, remedy: str) -> "TomlTable":
        if not isinstance(value, list):
            raise self.error(key, f"{value!r} is not an array of {of}", remedy)
        dotted = ".".join(filter(None, (self._at, key)))
        # Items are counted from 1, as people do.
        return TomlTable({f"{i}": item for i, item in enumerate(value, 1)}, file=self._file, at=dotted)
