"""`baskline species`: which zone is an animal put in, by whom, and what band follows?"""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from baskline import completing
from baskline.commands.common import DEFAULT_CONFIG, ConfigOption, JsonOption, print_json
from baskline.printing import console, say
from calibrate.errors import KeeperError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from exposure.bands import Band
    from exposure.species import Species
    from exposure.zones import Zone

SCHEMA = "baskline.species/1"
_HANG = 13


def species(
    pattern: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PATTERN]",
            help="A name or a part of one, scientific or common. Without: the zones.",
            autocompletion=completing.species,
        ),
    ] = None,
    config: ConfigOption = DEFAULT_CONFIG,
    as_json: JsonOption = False,
) -> None:
    """Look up an animal's zone and UV band, and who says so.

    Searches scientific names, synonyms and common names, your own [species.NAME] tables first. An animal that
    is not listed is said, never guessed.

    \b
    Examples:
      baskline species bearded dragon
      baskline species Testudo
      baskline species skink --json
    """
    from exposure.species import find_species, with_own_rows

    wanted = " ".join(pattern or ())
    table = with_own_rows(_own_rows(config))
    found = find_species(wanted, table) if wanted else table
    if as_json:
        print_json(_as_json(wanted, found))
    elif not wanted:
        _print_zones(table)
    else:
        _print_found(wanted, found)
    if not found:
        raise _unknown(wanted, table)


def _own_rows(config: Path) -> "Sequence[Species]":
    """Return the keeper's rows.  A file that is to be mended must not keep anybody from looking up a zone."""
    from ingest.config import ConfigError, load_config

    if not config.exists() and config == DEFAULT_CONFIG:
        return ()
    try:
        return load_config(config).own_species()
    except ConfigError:
        print(
            f"baskline: {config} cannot be used, so rows of your own are left out; see `baskline check`",
            file=sys.stderr,
        )
        return ()


def _unknown(wanted: str, table: "Sequence[Species]") -> KeeperError:
    from exposure.species import SpeciesError, species_named

    remedy = ""
    try:
        species_named(wanted, table)
    except SpeciesError as error:
        remedy = error.remedy if error.remedy.startswith("Did you mean") else ""
    return KeeperError(
        f"{wanted!r} is not in the table, and no zone is guessed",
        where="species",
        remedy=remedy or "Ask those who keep it well, then type the spot's band, or add [species.NAME]",
    )


def _print_found(wanted: str, found: "Sequence[Species]") -> None:
    from exposure.species import CEILING, GUIDE

    words = console()
    for row in found:
        say(words, _title(row), hang=4)
        if row.rank == "genus" and " " in wanted and row.name.casefold() in wanted.casefold():
            say(words, f"    {wanted} itself is not listed; this row is of its genus.", hang=4)
        for label, text in _lines(row):
            say(words, f"    {label:<9}{text}", hang=_HANG)
        words.print()
    if found:
        say(words, GUIDE)
        say(words, CEILING)


def _title(row: "Species") -> str:
    rank = "" if row.rank == "species" else f", {row.rank}"
    common = f" ({', '.join(row.common)})" if row.common else ""
    also = f"; also {', '.join(row.synonyms)}" if row.synonyms else ""
    return f"{row.name}{rank}{common}{also}"


def _lines(row: "Species") -> "Iterator[tuple[str, str]]":
    from exposure.zones import zone

    for number in row.zones:
        said = zone(number)
        top = f"{said.mean_high_uvi:g}{' or more' if said.mean_open_above else ''}"
        yield f"zone {number}", said.habit
        yield (
            "",
            f"average UVI {said.mean_low_uvi:g} to {top}, maximum {said.maximum_low_uvi:g}"
            f" to {said.maximum_high_uvi:g}",
        )
    if not row.zones:
        yield "zone", "none, a band of its own"
    if len(row.zones) > 1 and row.own_band is None:
        yield "", "Sources disagree, or it stands between: the lower zone makes the band."
    yield "band", _band_text(row.band)
    yield "source", row.source
    yield "checked", _CHECKED[row.evidence]
    if row.note:
        yield "note", row.note


_CHECKED = {
    "abstract": "the paper's abstract was read, not its table",
    "pages": "no: read on pages of the trade or the press, not in a paper",
    "practice": "no: common practice, no source",
    "memory": "no: from memory",
    "keeper": "by you",
}


def _band_text(band: "Band") -> str:
    return f"UVI {band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}"


def _print_zones(table: "Sequence[Species]") -> None:
    from exposure.species import CEILING, GUIDE
    from exposure.zones import zone_band, zones

    words = console()
    for each in zones():
        say(words, f"zone {each.number}   {each.habit}", hang=9)
        say(words, f"         band {_band_text(zone_band(each.number))}", hang=9)
        names = ", ".join(row.name for row in table if each.number in row.zones)
        say(words, f"         {names}", hang=9)
        if each.conflict:
            say(words, f"         {each.conflict}", hang=9)
        words.print()
    say(words, f"Sources: {_zone_sources()}. The papers' tables were not seen, but pages that quote them.")
    say(words, GUIDE)
    say(words, CEILING)


def _zone_sources() -> str:
    from exposure.zones import zones

    return "; ".join(dict.fromkeys(each.source for each in zones()))


def _as_json(wanted: str, found: "Sequence[Species]") -> dict[str, object]:
    from exposure.species import GUIDE
    from exposure.zones import zones

    return {
        "schema": SCHEMA,
        "pattern": wanted,
        "species": [
            {
                "name": row.name,
                "rank": row.rank,
                "common": list(row.common),
                "synonyms": list(row.synonyms),
                "zones": list(row.zones),
                "band": {
                    "low_uvi": row.band.low_uvi,
                    "high_uvi": row.band.high_uvi,
                    "ceiling_uvi": row.band.ceiling_uvi,
                },
                "evidence": row.evidence,
                "verified": row.verified,
                "source": row.source,
                "note": row.note or None,
            }
            for row in found
        ],
        "zones": [_zone_fields(each) for each in zones()],
        "guide": GUIDE,
    }


def _zone_fields(each: "Zone") -> dict[str, object]:
    return {
        "zone": each.number,
        "habit": each.habit,
        "mean_low_uvi": each.mean_low_uvi,
        "mean_high_uvi": each.mean_high_uvi,
        "mean_open_above": each.mean_open_above,
        "maximum_low_uvi": each.maximum_low_uvi,
        "maximum_high_uvi": each.maximum_high_uvi,
        "verified": each.verified,
        "source": each.source,
        "conflict": each.conflict or None,
    }
