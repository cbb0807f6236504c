"""The parts of a month's report: words and tables, as the template lays them out."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

Row: TypeAlias = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the first column begins its cells at the left, as do those in `left`; others end at the right.

    `strong` are the numbers of rows that a reader must not overlook.
    """

    columns: Row
    rows: Sequence[Row]
    left: frozenset[int] = frozenset({0})
    strong: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class SpotPart:
    """What the report says of a spot; `figure` names its chart, '' where there is nothing to draw."""

    title: str
    facts: Sequence[tuple[str, str]]
    figure: str
    days: Table | None


@dataclass(frozen=True, slots=True)
class EnclosurePart:
    """What the report says of an enclosure."""

    anchor: str
    title: str
    species: str
    notes: str
    retreat: str
    spots: Sequence[SpotPart]


@dataclass(frozen=True, slots=True)
class LampPart:
    """What the report says of a lamp: facts, then those by each spot with the name of its chart."""

    title: str
    facts: Sequence[tuple[str, str]]
    seen_from: Sequence[tuple[str, Sequence[tuple[str, str]], str]]


@dataclass(frozen=True, slots=True)
class Document:
    """A month's report."""

    title: str
    place: str
    span: str
    standing: str
    made: str
    watched: Table
    surely: Sequence[str]
    received: Table
    enclosures: Sequence[EnclosurePart]
    lamps: Sequence[LampPart]
    checks: Table | None
    check_figures: Sequence[str]
    events: Table | None
    more_events: str
    unseen: Table | None
