"""A CSV file of numbers with settings in its first lines, read with errors that name line and column.

    # key = value
    wavelength_nm,response
    300,0.72

Lines that begin with `#` before the names of the columns hold settings; without `=` they are remarks, as
is every later line that begins with `#`.  Columns are parted by comma, semicolon or tab; with the latter
two a number may have a decimal comma.  Empty lines are skipped.
"""

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean, misspelt


class TableFileError(KeeperError):
    """A file of numbers that cannot be read as one."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table; `line` counts from 1."""

    file: str
    line: int
    cells: Mapping[str, str]
    decimal_comma: bool

    def error(self, column: str, what: str, remedy: str = "") -> TableFileError:
        """Return an error about a cell of this row."""
        return TableFileError(what, where=f"{self.file}, line {self.line}, column {column}", remedy=remedy)

    def number(self, column: str) -> float:
        """Return a finite number."""
        text = self.cells[column]
        try:
            number = float(text.replace(",", ".") if self.decimal_comma else text)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise self.error(column, f"{text!r} is not a finite number", "Write it like 12.5")
        return number

    def number_or_none(self, column: str) -> float | None:
        """Return a finite number, or None if the cell is empty or there is no such column."""
        return self.number(column) if self.cells.get(column) else None


@dataclass(frozen=True, slots=True)
class Table:
    """A table as text: settings by key, names of the columns, rows."""

    file: str
    settings: Mapping[str, str]
    setting_lines: Mapping[str, int]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]

    def setting_error(self, key: str, what: str, remedy: str = "") -> TableFileError:
        """Return an error about a setting."""
        where = f"{self.file}, line {self.setting_lines[key]}, {key}" if key in self.settings else self.file
        return TableFileError(what, where=where, remedy=remedy)

    def refuse_unknown_settings(self, valid: Collection[str]) -> None:
        """Refuse a setting that is not in `valid`."""
        for key in self.settings:
            if key not in valid:
                raise self.setting_error(key, "unknown setting", did_you_mean(key, valid))

    def number_setting(self, key: str, default: float) -> float:
        """Return a setting as a finite number not below 0."""
        text = self.settings.get(key)
        if text is None:
            return default
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not 0 <= number < math.inf:
            raise self.setting_error(key, f"{text!r} is not a number from 0 up", f"Write # {key} = 0.1")
        return number

    def require_columns(self, *names: str) -> None:
        """Refuse a table that lacks one of the columns."""
        for name in names:
            if name not in self.columns:
                raise TableFileError(
                    f"no column {name}",
                    where=self.file,
                    remedy=misspelt(name, self.columns)
                    or f"Name the columns in the first line without #, such as {','.join(names)}",
                )


def parse_table(text: str, *, file: str) -> Table:
    """Read a table out of a text; `file` names it in errors."""
    settings: dict[str, str] = {}
    setting_lines: dict[str, int] = {}
    lines = _content_lines(text.removeprefix("\ufeff"))  # as spreadsheets begin UTF-8
    for number, line in lines:
        if not line.startswith("#"):
            separator = next((mark for mark in (";", "\t") if mark in line), ",")
            columns = _split(line, separator)
            break
        key, equals, value = line.lstrip("#").partition("=")
        if equals:
            settings[key.strip()] = value.strip()
            setting_lines[key.strip()] = number
    else:
        raise TableFileError("no line with the names of the columns", where=file)
    for position, name in enumerate(columns, 1):
        if not name or name in columns[: position - 1]:
            raise TableFileError(
                f"column {position} has no name of its own: {name!r}",
                where=f"{file}, line {number}",
                remedy="Name each column once in the first line without #",
            )
    rows = []
    for number, line in lines:
        if line.startswith("#"):
            continue
        cells = _split(line, separator)
        if len(cells) != len(columns):
            raise TableFileError(
                f"{len(cells)} columns where {len(columns)} belong", where=f"{file}, line {number}"
            )
        rows.append(Row(file, number, dict(zip(columns, cells, strict=True)), separator != ","))
    if not rows:
        raise TableFileError("no row of numbers", where=file)
    return Table(file, settings, setting_lines, columns, tuple(rows))


def _content_lines(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1):
        if line.strip():
            yield number, line.strip("\r\n ")


def _split(line: str, separator: str) -> tuple[str, ...]:
    return tuple(cell.strip().strip('"').strip() for cell in line.split(separator))
