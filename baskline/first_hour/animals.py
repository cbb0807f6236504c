"""Who lives there, and the zone or band to begin with."""

from collections.abc import Callable, Sequence
from typing import Final

from baskline.first_hour.asking import AnswerError, Asking, of_kind, or_none
from exposure.species import Species, SpeciesError, clear_species, find_species, zones_text
from ingest.config.fields import Text

_SHOWN: Final = 8
_NAME: Final = or_none(of_kind(Text))


def who_lives_there(asking: Asking, table: Sequence[Species]) -> Species | str | None:
    """Ask who lives there, and search as typed; what is not in the table stays as it is typed."""
    why = "Its species gives the zone to begin with. Scientific or common name, or a part of it."
    while True:
        given = asking.ask("Who lives there? (Enter: nobody yet)", _NAME, why=why)
        why = ""
        if given is None:
            return None
        found = find_species(given, table)[:_SHOWN]
        if not found:
            asking.talk.say(f"   {given!r} is not in the table, and no zone is guessed.", hang=3)
            if asking.yes("Keep that name?", default=True):
                return given
            continue
        for number, row in enumerate(found, 1):
            common = f" ({row.common[0]})" if row.common else ""
            rank = "" if row.rank == "species" else f", {row.rank}"
            asking.talk.say(f"   {number}  {row.name}{rank}{common}: {zones_text(row)}", hang=6)
        chosen = asking.ask("Which one? (a number, or none)", or_none(_number_to(len(found))), default="1")
        if chosen is not None:
            return found[chosen - 1]


def by_species(name: str | None, table: Sequence[Species]) -> tuple[str | None, str]:
    """Return the default that a species gives for its basking spot, and why."""
    if name is None:
        return None, ""
    try:
        row = clear_species(name, table)
    except SpeciesError as error:
        found = find_species(name, table)
        if not found or not found[0].zones or found[0].name != name:
            return None, f"{error}."
        return str(found[0].zones[0]), f"{error.what}; the default is the zone with the least UV."
    if row.own_band is not None:
        band = row.own_band
        return f"{band.low_uvi:g} {band.high_uvi:g} {band.ceiling_uvi:g}", f"By {row.source}."
    return str(row.zones[0]), f"{row.name} is put in {zones_text(row)}."


def _number_to(top: int) -> Callable[[str], int]:
    def read(given: str) -> int:
        if not given.isascii() or not given.isdigit() or not 1 <= int(given) <= top:
            raise AnswerError(f"{given!r} is not a number from 1 to {top}")
        return int(given)

    return read
