"""Columns of a table, and rows as one array or list for each of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import IntArray
from calibrate.samples import Flag

MOST_ROWS = 50_000
"""So many rows at once at most: some MB, whatever the table."""


class Kind(StrEnum):
    """What a column holds, in the words of baskline/EXPORT.md."""

    UTC_TIME = "UTC time"  # milliseconds since the epoch
    DATE = "date"  # ISO 8601
    NUMBER = "number"  # double precision
    SINGLE = "short number"  # single precision
    WHOLE = "whole number"
    TEXT = "text"
    TRUTH = "true or false"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: `unit` is '' where there is none, `optional` whether a row may have nothing in it."""

    name: str
    kind: Kind
    means: str
    unit: str = ""
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Coded:
    """Texts of which few differ: `texts[codes[i]]` is that of row i."""

    texts: Sequence[str | None]
    codes: IntArray

    @classmethod
    def constant(cls, text: str | None, n: int) -> "Coded":
        """Return the same text in n rows."""
        return cls((text,), np.zeros(n, np.int64))

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, part: slice) -> "Coded":
        return Coded(self.texts, self.codes[part])

    def listed(self) -> list[str | None]:
        """Return the text of each row."""
        return [self.texts[code] for code in self.codes.tolist()]


# Numbers and times as arrays, NaN for nothing; all else, and whole numbers that may be missing, as lists.
Values: TypeAlias = NDArray[np.generic] | Coded | list[str | int | float | bool | None]


@dataclass(frozen=True, slots=True)
class Rows:
    """Some rows of a table: the values of each of its columns, in its order, all of one length."""

    values: tuple[Values, ...]

    def __post_init__(self) -> None:
        if len({len(each) for each in self.values}) != 1:
            raise ValueError("columns of different lengths")

    def __len__(self) -> int:
        return len(self.values[0])

    def parts(self) -> Iterator["Rows"]:
        """Yield them in parts of at most MOST_ROWS."""
        for start in range(0, len(self), MOST_ROWS):
            yield Rows(tuple(each[start : start + MOST_ROWS] for each in self.values))


def flag_texts(flags: NDArray[np.uint32]) -> Coded:
    """Return the names of the flags that are set, with spaces between; nothing where none is."""
    found, codes = np.unique(flags, return_inverse=True)
    return Coded([flag_text(Flag(int(each))) for each in found], codes.astype(np.int64))


def flag_text(flags: Flag) -> str | None:
    """Return the names of some flags with spaces between, None for none."""
    return " ".join(flag.name.lower() for flag in flags if flag.name is not None) or None
