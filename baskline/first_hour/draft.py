"""What the keeper has answered, as commented TOML."""

import re
import unicodedata
from collections.abc import Container, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Final

import tomlkit

from exposure.bands import Band
from exposure.zones import zone_band
from ingest.config.fields import KEY_PATTERN

_LONGEST_KEY: Final = 32
_SPELLED_OUT: Final = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "æ": "ae", "ø": "oe", "å": "aa", "ł": "l"}
)


@dataclass(frozen=True, slots=True)
class NewBoard:
    """A board that answered.  `sensors` are the prefixes of its UV sensors, '' where it has only one."""

    key: str
    identity: str
    label: str
    sensors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NewEnclosure:
    """An enclosure; `species` None where nobody lives in it yet."""

    key: str
    label: str
    species: str | None


@dataclass(frozen=True, slots=True)
class NewLamp:
    """A lamp as it hangs."""

    key: str
    kind: str
    installed: date
    distance_cm: float
    through_mesh: bool


@dataclass(frozen=True, slots=True)
class NewSpot:
    """A spot; `wanted` is a zone or a band of the keeper's own."""

    key: str
    label: str
    enclosure: str
    lamp: str
    board: str
    sensor: str
    kind: str
    wanted: int | Band


@dataclass(slots=True)
class Draft:
    """What is to be written.  `site` is empty where the file has a `[bridge]` already."""

    site: str = ""
    name: str = ""
    time_zone: str = ""
    ports: str = ""
    boards: list[NewBoard] = field(default_factory=list)
    enclosures: list[NewEnclosure] = field(default_factory=list)
    lamps: list[NewLamp] = field(default_factory=list)
    spots: list[NewSpot] = field(default_factory=list)
    broker_host: str | None = None
    broker_port: int | None = None
    broker_user: str | None = None
    page: bool = False

    def is_empty(self) -> bool:
        """Return whether there is nothing to write."""
        return not "".join(_tables(self))


def key_from(label: str, taken: Container[str], otherwise: str) -> str:
    """Return a key made of a label that no other has yet: `Grüner Ast` becomes `gruener_ast`."""
    spelled = unicodedata.normalize("NFC", label.casefold()).translate(_SPELLED_OUT)
    bare = "".join(c for c in unicodedata.normalize("NFD", spelled) if not unicodedata.combining(c))
    plain = re.sub(r"[^a-z0-9]+", "_", bare).strip("_")[:_LONGEST_KEY].strip("_")
    stem = plain if re.fullmatch(KEY_PATTERN, plain) else otherwise
    key, number = stem, 2
    while key in taken:
        tail = f"_{number}"
        key, number = f"{stem[: _LONGEST_KEY - len(tail)]}{tail}", number + 1
    return key


def new_text(draft: Draft) -> str:
    """Return a whole file."""
    return (
        "# What hangs where.  Every key: ingest/CONFIG.md.\n"
        "# After a change: baskline check, then start\n# baskline run anew.\n\n" + "\n".join(_tables(draft))
    )


def added_text(draft: Draft, today: date) -> str:
    """Return what comes after all that a file has already."""
    return f"\n# Added by `baskline init` on {today}.\n\n" + "\n".join(_tables(draft))


def _tables(draft: Draft) -> Iterator[str]:
    if draft.site:
        yield _bridge(draft)
    if draft.ports:
        yield f"[serial]\n# Where boards are looked for.\nports = [{_quoted(draft.ports)}]\n"
    if draft.broker_host is not None:
        yield _broker(draft)
    if draft.page:
        yield "[page]\n# http://127.0.0.1:8765/ for this computer alone;\n# a phone needs a password.\n"
    for board in draft.boards:
        yield (
            f"[board.{board.key}]\n"
            "# By this it is known on any port.\n"
            f"identity = {_quoted(board.identity)}\n"
            f"label = {_quoted(board.label)}\n"
        )
    for enclosure in draft.enclosures:
        species = "" if enclosure.species is None else f"species = {_quoted(enclosure.species)}\n"
        yield f"[enclosure.{enclosure.key}]\nlabel = {_quoted(enclosure.label)}\n{species}"
    for lamp in draft.lamps:
        yield _lamp(lamp)
    for spot in draft.spots:
        yield _spot(spot)


def _bridge(draft: Draft) -> str:
    return (
        "[bridge]\n"
        "# Both stand in every topic: choose them once.\n"
        f"site = {_quoted(draft.site)}\n"
        f"name = {_quoted(draft.name)}\n"
        "# Says when a day begins and ends.\n"
        f"time_zone = {_quoted(draft.time_zone)}\n"
    )


def _broker(draft: Draft) -> str:
    assert draft.broker_host is not None
    lines = ["[mqtt]", f"host = {_quoted(draft.broker_host)}"]
    if draft.broker_port is not None:
        lines.append(f"port = {draft.broker_port}")
    if draft.broker_user is not None:
        lines.append(f"username = {_quoted(draft.broker_user)}")
        lines.append("# The password is the first line of this file.")
        lines.append('password_file = "mqtt-password"')
    return "\n".join(lines) + "\n"


def _lamp(lamp: NewLamp) -> str:
    mesh = 'between = ["mesh"]\n' if lamp.through_mesh else ""
    return (
        f"[lamp.{lamp.key}]\n"
        "# A calibration holds under one kind only.\n"
        f"kind = {_quoted(lamp.kind)}\n"
        f"installed = {lamp.installed}\n"
        "# From the lamp to the animal's back.\n"
        f"distance_cm = {lamp.distance_cm:g}\n"
        f"{mesh}"
    )


def _spot(spot: NewSpot) -> str:
    sensor = f"sensor = {_quoted(spot.sensor)}\n" if spot.sensor else ""
    kind = f"kind = {_quoted(spot.kind)}\n" if spot.kind != "basking" else ""
    return (
        f"[spot.{spot.key}]\n"
        f"label = {_quoted(spot.label)}\n"
        f"enclosure = {_quoted(spot.enclosure)}\n"
        f"lamp = {_quoted(spot.lamp)}\n"
        f"board = {_quoted(spot.board)}\n"
        f"{sensor}{kind}{_wanted(spot.wanted)}"
        f"# It has no UVI without a calibration: baskline calibrate {spot.key}\n"
    )


def _wanted(wanted: int | Band) -> str:
    if isinstance(wanted, int):
        band = zone_band(wanted)
        return (
            f"# Zone {wanted}: UVI {band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}.\n"
            "# Zones guide; a band of your own is better:\n"
            f"# band = {{ low_uvi = {band.low_uvi!r}, high_uvi = {band.high_uvi!r},"
            f" ceiling_uvi = {band.ceiling_uvi!r} }}\n"
            f"zone = {wanted}\n"
        )
    return (
        f"band = {{ low_uvi = {float(wanted.low_uvi)!r}, high_uvi = {float(wanted.high_uvi)!r},"
        f" ceiling_uvi = {float(wanted.ceiling_uvi)!r} }}\n"
    )


def _quoted(text: str) -> str:
    return tomlkit.string(text).as_string()
