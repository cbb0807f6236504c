"""Which zone a species is put in, by whom; found by scientific name, synonym or common name."""

import difflib
import tomllib
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Final

from calibrate.errors import KeeperError
from exposure.bands import Band
from exposure.zones import zone, zone_band

GUIDE: Final = (
    "Zones guide, they do not prescribe. They sum up what free animals chose, and an animal chooses by"
    " moving: behaviour, shade and gradient matter more than any number, and every enclosure needs a"
    " retreat with little UV."
)
CEILING: Final = (
    "A zone's ceiling is its greatest published maximum: seen for a moment around noon, under the sun. It is"
    " no level to run a lamp at; a lower ceiling of your own, in a band, is the more careful one."
)


class SpeciesError(KeeperError):
    """A species that is not in the table, or a row that cannot be meant."""


@dataclass(frozen=True, slots=True)
class Species:
    """One row of the table; a keeper's own needs a name, its zones or a band, and a source.

    `name` is scientific, of a species, or as `rank` says of a subspecies, genus or family.  `zones` in
    ascending order: more than one where sources disagree.  `own_band` overrides the zone's.  `evidence` is
    abstract, pages, practice, memory or keeper; `source` says it in words.
    """

    name: str
    zones: tuple[int, ...]
    source: str
    rank: str = "species"
    common: tuple[str, ...] = ()
    synonyms: tuple[str, ...] = ()
    own_band: Band | None = None
    evidence: str = "keeper"
    note: str = ""

    def __post_init__(self) -> None:
        if not _plain(self.name) or not self.source.strip():
            raise SpeciesError(
                "a row lacks its name or its source", where="species", remedy="Say where its zone is from"
            )
        lacking = not self.zones and self.own_band is None
        if lacking or list(self.zones) != sorted(set(self.zones)):
            raise SpeciesError(
                f"zones of {self.name} are {list(self.zones)}",
                where="species",
                remedy="Give one or more of 1 to 4 in ascending order",
            )
        for number in self.zones:
            zone(number)  # refuses one that does not exist

    @property
    def band(self) -> Band:
        """The band to begin with: its own, or that of its lowest zone, which gives the least UV."""
        return self.own_band if self.own_band is not None else zone_band(self.zones[0])

    @property
    def verified(self) -> bool:
        """Whether a published paper was read, or the keeper says so; else pages, practice or memory."""
        return self.evidence in ("abstract", "keeper")

    @property
    def names(self) -> tuple[str, ...]:
        """Every name that it goes by."""
        return (self.name, *self.synonyms, *self.common)


@cache
def species_table() -> tuple[Species, ...]:
    """Return the rows that come with the project, in the file's order."""
    table = tomllib.loads(files("exposure").joinpath("species.toml").read_text("utf-8"))
    return tuple(
        Species(
            name=row["name"],
            rank=row["rank"],
            common=tuple(row["common"]),
            synonyms=tuple(row["synonyms"]),
            zones=tuple(row["zones"]),
            own_band=Band(*row["band"]) if "band" in row else None,
            evidence=row["evidence"],
            source=row["source"],
            note=row["note"],
        )
        for row in table["species"]
    )


def with_own_rows(own: Sequence[Species]) -> tuple[Species, ...]:
    """Return the table with a keeper's rows first.

    One that goes by any name of ours takes its place, and is found by all of its names.
    """
    rows = {_plain(name): row for row in species_table() for name in row.names}
    replaced = [rows.get(_plain(row.name)) for row in own]
    merged = [row if old is None else _inheriting(row, old) for row, old in zip(own, replaced, strict=True)]
    return (*merged, *(row for row in species_table() if row not in replaced))


def _inheriting(row: Species, old: Species) -> Species:
    known = {_plain(name) for name in row.names}
    synonyms = (name for name in (old.name, *old.synonyms) if _plain(name) not in known)
    common = (name for name in old.common if _plain(name) not in known)
    return replace(row, rank=old.rank, synonyms=(*row.synonyms, *synonyms), common=(*row.common, *common))


def find_species(pattern: str, table: Sequence[Species] | None = None) -> tuple[Species, ...]:
    """Return the rows that a pattern means, best first; none if nothing fits, for nothing is guessed.

    Case, accents, hyphens and apostrophes do not matter.  A whole name counts before the beginning of one,
    and that before a part.  A scientific name whose species is not listed finds the row of its genus.
    """
    wanted = _plain(pattern)
    if not wanted:
        return ()
    ranked = []
    for number, row in enumerate(species_table() if table is None else table):
        rank = min(_match(wanted, _plain(name)) for name in row.names)
        if row.rank == "genus" and wanted.startswith(f"{_plain(row.name)} "):
            rank = min(rank, _BY_GENUS)
        if rank < _NO_MATCH:
            ranked.append((rank, number, row))
    return tuple(row for _, _, row in sorted(ranked, key=lambda entry: entry[:2]))


def species_named(name: str, table: Sequence[Species] | None = None) -> Species:
    """Return the one row of exactly that scientific name, synonym or common name.

    `SpeciesError` if there is none, with the names that look most like it, or if several share it.
    """
    rows = species_table() if table is None else table
    wanted = _plain(name)
    found = [row for row in rows if wanted in map(_plain, row.names)]
    if len(found) == 1:
        return found[0]
    if found:
        remedy = "Give one of " + ", ".join(row.name for row in found)
        raise SpeciesError(f"{name!r} is the name of several", where="species", remedy=remedy)
    by_plain = {_plain(each): each for row in rows for each in row.names}
    near = [by_plain[match] for match in difflib.get_close_matches(wanted, by_plain, n=3, cutoff=0.7)]
    remedy = f"Did you mean {' or '.join(near)}?" if near else "Give a zone or type its band"
    raise SpeciesError(f"{name!r} is not in the table", where="species", remedy=remedy)


def clear_species(name: str, table: Sequence[Species] | None = None) -> Species:
    """Return the row of that name, if it leaves nothing to choose; else `SpeciesError` says what.

    A row leaves nothing to choose when it stands for a species or subspecies, in one zone or with a band of
    its own, and by more than memory.
    """
    row = species_named(name, table)
    said = zones_text(row)
    if row.rank not in ("species", "subspecies") and row.evidence != "keeper":
        reason = f"{row.name} is a whole {row.rank}, in {said}"
    elif row.own_band is None and len(row.zones) > 1:
        reason = f"{row.name} is put in {said}"
    elif row.evidence == "memory":
        reason = f"that {row.name} belongs in {said} is from memory"
    else:
        return row
    raise SpeciesError(reason, where="species", remedy="Choose its zone, or type its band")


def zones_text(row: Species) -> str:
    """Return its zones in words: `zones 3 and 4`, or `no zone`."""
    if not row.zones:
        return "no zone"
    numbers = [str(number) for number in row.zones]
    return f"zone{'s' if len(numbers) > 1 else ''} " + " and ".join(
        filter(None, (", ".join(numbers[:-1]), numbers[-1]))
    )


_BY_GENUS, _NO_MATCH = 3, 4


def _match(wanted: str, name: str) -> int:
    """Return how well: 0 the whole name, 1 the beginning of a word in it, 2 a part, else `_NO_MATCH`."""
    if name == wanted:
        return 0
    if name.startswith(wanted) or f" {wanted}" in name:
        return 1
    return 2 if wanted in name else _NO_MATCH


def _plain(name: str) -> str:
    """Return a name without case, accents, apostrophes, hyphens or double spaces."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    kept = "".join(
        " " if letter in "-_" else letter for letter in letters if letter.isalnum() or letter in " -_"
    )
    return " ".join(kept.split())
