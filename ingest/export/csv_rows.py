"""A table as CSV: commas, a point for decimals, LF, all digits of a number, nothing where nothing is."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import TextIO

import numpy as np

from ingest.export.columns import Coded, Column, Kind, Values
from ingest.export.table import Table
from ingest.mqtt.payloads import iso_utc


def write_csv(table: Table, stream: TextIO) -> int:
    """Write a line of names and one line a row; return how many rows."""
    n = 0
    for text, n_rows in csv_parts(table):
        stream.write(text)
        n += n_rows
    return n


def csv_parts(table: Table) -> Iterator[tuple[str, int]]:
    """Yield the text of `write_csv` part by part, each with how many rows it has; the first has the names."""
    part = io.StringIO()
    csv.writer(part, lineterminator="\n").writerow([column.name for column in table.columns])
    yield part.getvalue(), 0
    for rows in table.rows:
        part = io.StringIO()
        cells = [cells_of(*each) for each in zip(table.columns, rows.values, strict=True)]
        csv.writer(part, lineterminator="\n").writerows(zip(*cells, strict=True))
        yield part.getvalue(), len(rows)


def cells_of(column: Column, values: Values) -> Sequence[object]:
    """Return the values as the csv module writes them right: it gives floats all their digits."""
    if isinstance(values, Coded):
        return values.listed()
    if isinstance(values, list):
        if column.kind is Kind.UTC_TIME:
            return [None if each is None else iso_utc(int(each)) for each in values]
        if column.kind is Kind.TRUTH:
            return ["true" if each else "false" for each in values]
        return values
    if column.kind is Kind.UTC_TIME:
        texts: list[str] = np.datetime_as_string(values.astype("datetime64[ms]"), timezone="UTC").tolist()
        return texts
    cells: list[object] = (
        values.astype(np.float32).astype(np.str_) if column.kind is Kind.SINGLE else values
    ).tolist()
    if column.optional and np.isnan(values).any():
        return [None if missing else cell for cell, missing in zip(cells, np.isnan(values), strict=True)]
    return cells
