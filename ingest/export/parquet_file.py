"""A table as Parquet, with what a number means in its schema."""

from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from calibrate.errors import KeeperError
from ingest.export.columns import Coded, Column, Kind, Rows, Values
from ingest.export.table import Table

# What a reader takes up at once; a year of one reading a second makes some hundred of these.
_ROW_GROUP = 250_000


class ParquetError(KeeperError):
    """Parquet that cannot be written here."""


def pyarrow() -> Any:
    """Return the library that writes Parquet, untyped as it is; ParquetError if it is not installed."""
    try:
        import pyarrow as library  # type: ignore[import-untyped]
        import pyarrow.parquet  # type: ignore[import-untyped]
    except ImportError as error:
        raise ParquetError(
            "the library that writes Parquet is not installed",
            where="--format parquet",
            remedy="Install it with: pip install 'baskline[parquet]'; or export CSV",
        ) from error
    return library


def write_parquet(table: Table, path: Path, about: Mapping[str, str]) -> int:
    """Write the table to `path`; `about` becomes metadata of its schema.  Return how many rows."""
    arrow = pyarrow()
    schema = arrow.schema(
        [
            arrow.field(
                column.name,
                _type(arrow, column.kind),
                nullable=column.optional,
                metadata={"description": column.means, **({"unit": column.unit} if column.unit else {})},
            )
            for column in table.columns
        ],
        metadata={f"baskline.{name}": value for name, value in about.items()},
    )
    texts = [column.name for column in table.columns if column.kind is Kind.TEXT]
    steady = [column.name for column in table.columns if column.kind in (Kind.UTC_TIME, Kind.WHOLE)]
    n = 0
    with arrow.parquet.ParquetWriter(
        path,
        schema,
        compression="zstd",
        use_dictionary=texts,
        # Times and sequence numbers go up by about the same: only the steps are kept.
        column_encoding=dict.fromkeys(steady, "DELTA_BINARY_PACKED"),
    ) as writer:
        for group in _groups(arrow, schema, table):
            writer.write_table(group)
            n += group.num_rows
    return n


def _groups(arrow: Any, schema: Any, table: Table) -> Iterator[Any]:
    """Yield the rows in tables of the library that are worth a row group each."""
    waiting: list[Any] = []
    for rows in table.rows:
        waiting.append(_record_batch(arrow, schema, table.columns, rows))
        if sum(batch.num_rows for batch in waiting) >= _ROW_GROUP:
            yield arrow.Table.from_batches(waiting)
            waiting.clear()
    if waiting:
        yield arrow.Table.from_batches(waiting)


def _record_batch(arrow: Any, schema: Any, columns: tuple[Column, ...], rows: Rows) -> Any:
    arrays = [_array(arrow, *each) for each in zip(columns, rows.values, strict=True)]
    return arrow.RecordBatch.from_arrays(arrays, schema=schema)


def _array(arrow: Any, column: Column, values: Values) -> Any:
    kind = _type(arrow, column.kind)
    if isinstance(values, Coded):
        return arrow.array(values.texts, kind).take(arrow.array(values.codes))
    if isinstance(values, list):
        if column.kind is Kind.DATE:
            return arrow.array([date.fromisoformat(str(each)) for each in values], kind)
        return arrow.array(values, kind)
    if column.kind is Kind.SINGLE:
        values = values.astype(np.float32)
    return arrow.array(values, kind, mask=np.isnan(values) if column.optional else None)


def _type(arrow: Any, kind: Kind) -> Any:
    return {
        Kind.UTC_TIME: arrow.timestamp("ms", tz="UTC"),
        Kind.DATE: arrow.date32(),
        Kind.NUMBER: arrow.float64(),
        Kind.SINGLE: arrow.float32(),
        Kind.WHOLE: arrow.int64(),
        Kind.TEXT: arrow.string(),
        Kind.TRUTH: arrow.bool_(),
    }[kind]
