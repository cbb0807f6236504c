"""A table to export: what its columns are, and its rows as they come out of the store."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from ingest.config import Config
from ingest.export.columns import Column, Rows
from ingest.store.store import Store

DAY_MS = 86_400_000

Progress: TypeAlias = Callable[[str, int, int], None]
"""Told what is being read, how many steps of it are done, and of how many."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to export: rows of [from_ms, to_ms), of these spots and boards (by identity).

    Where neither is named, all that the store knows.
    """

    from_ms: int
    to_ms: int
    spots: tuple[str, ...] = ()
    boards: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `rows` can be walked once.  `calibrations` are those that gave its values, by spot."""

    name: str
    columns: tuple[Column, ...]
    rows: Iterator[Rows]
    calibrations: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Source:
    """Where tables come from."""

    store: Store
    config: Config
    progress: Progress


def windows(from_ms: int, to_ms: int, length_ms: int) -> list[tuple[int, int]]:
    """Return [from_ms, to_ms) cut where multiples of `length_ms` since the epoch are."""
    if from_ms >= to_ms:
        return []
    cuts = range((from_ms // length_ms + 1) * length_ms, to_ms, length_ms)
    return list(zip([from_ms, *cuts], [*cuts, to_ms], strict=True))
