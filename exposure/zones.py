"""The four published exposure zones, read from `zones.toml`, and the band that each gives a spot."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from calibrate.errors import KeeperError
from exposure.bands import Band


class ZoneError(KeeperError):
    """There is no such zone."""


@dataclass(frozen=True, slots=True)
class Zone:
    """One published zone: what the species grouped in it were seen to choose.

    The two means bound the species' mean UVI (`mean_open_above`: published as "or more"), the two maxima
    their highest UVI.  `verified` is whether the paper itself was read; `seen` says what was, and where;
    `conflict` in words where the pages disagree, else ''.
    """

    number: int
    habit: str
    mean_low_uvi: float
    mean_high_uvi: float
    mean_open_above: bool
    maximum_low_uvi: float
    maximum_high_uvi: float
    source: str
    verified: bool
    seen: tuple[str, ...]
    conflict: str


@cache
def zones() -> tuple[Zone, ...]:
    """Return the zones in order of their number."""
    table = tomllib.loads(files("exposure").joinpath("zones.toml").read_text("utf-8"))
    return tuple(
        Zone(
            number=row["number"],
            habit=row["habit"],
            mean_low_uvi=row["mean_uvi"][0],
            mean_high_uvi=row["mean_uvi"][1],
            mean_open_above=row["mean_open_above"],
            maximum_low_uvi=row["maximum_uvi"][0],
            maximum_high_uvi=row["maximum_uvi"][1],
            source=row["source"],
            verified=row["verified"],
            seen=tuple(row["seen"]),
            conflict=row["conflict"],
        )
        for row in table["zone"]
    )


def zone(number: int) -> Zone:
    """Return the zone of that number; `ZoneError` if there is none."""
    for candidate in zones():
        if candidate.number == number:
            return candidate
    raise ZoneError(f"there is no zone {number}", where="zone", remedy="Give 1, 2, 3 or 4")


def zone_band(number: int) -> Band:
    """Return the band that a spot gets when its keeper names a zone and nothing else.

    Notes
    -----
    Low and high are the zone's published range of means: below it, no length of basking gives the animal
    what even the least exposed species of the zone averaged; above it, the spot is stronger than any
    species' average.  The ceiling is the top of the published range of maxima, by the lowest of the
    sources where they disagree: nothing in the zone was seen to stay under more.

    The published guides use both in this way: means for background light over a large part of the
    enclosure, maxima as the upper limit of a small basking place.  A spot meant as such a place may sit
    between high and ceiling: then type its band, which is always better than a zone's.
    """
    chosen = zone(number)
    return Band(chosen.mean_low_uvi, chosen.mean_high_uvi, chosen.maximum_high_uvi)
