"""From what comes one by one to rows, and from moments to days."""

from collections.abc import Iterator
from datetime import date
from typing import TypeAlias

from exposure.days import local_date
from ingest.export.columns import Rows
from ingest.export.table import Source, Wanted

Cells: TypeAlias = tuple[str | int | float | bool | None, ...]
"""One row."""


def days_of(source: Source, wanted: Wanted) -> tuple[date, date]:
    """Return the first and the last local day of what is wanted."""
    time_zone = source.config.bridge.time_zone
    return local_date(wanted.from_ms, time_zone), local_date(wanted.to_ms - 1, time_zone)


def rows_of(cells: Iterator[Cells]) -> Iterator[Rows]:
    """Yield rows in parts of a bearable size."""
    by_column = list(zip(*cells, strict=True))
    if by_column:
        yield from Rows(tuple(list(column) for column in by_column)).parts()
