"""Whether all is well, in one sentence that is read from a metre away.  Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from baskline.page.spot_view import SpotView, ago_words, moment_words
from exposure.events import Severity
from exposure.place import Place
from ingest.present import RoomNow

# Each board has its own measure of silence; over this even the slowest that can make a day is silent.
_ALL_SILENT_MS: Final = 310_000


class Level(StrEnum):
    """How it stands with the room, worst first."""

    NOW = "now"  # somebody must go there
    BLIND = "blind"  # nobody watches, so nothing that is shown is of now
    TODAY = "today"  # somebody should look today
    UNSURE = "unsure"  # of some spots nothing is known
    SETTLING = "settling"  # outside the band, not for long enough to be told
    WELL = "well"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A `sentence` that changes only with what it says, and the `details` that may change at any time."""

    level: Level
    sentence: str
    details: tuple[str, ...] = ()


def verdict(room: RoomNow, spots: Sequence[SpotView], zone: ZoneInfo) -> Verdict:
    """Return how it stands with the room."""
    now = [spot for spot in spots if spot.gravest is Severity.NOW or spot.place is Place.OVER_CEILING]
    blind = _blindness(room, zone)
    if blind is not None:
        more = tuple(f"Before that: {spot.label}, {_reason(spot)}" for spot in now)
        return Verdict(Level.BLIND, blind.sentence, (*blind.details, *more))
    today = [spot for spot in spots if spot not in now and spot.gravest is Severity.TODAY and spot.value]
    unknown = [spot for spot in spots if spot not in now and not spot.value]
    outside = [
        spot
        for spot in spots
        if spot.place in (Place.UNDER_BAND, Place.ABOVE_BAND, Place.UNKNOWN)
        and spot not in (*now, *today, *unknown)
    ]
    not_well = [*now, *today, *unknown, *outside]
    details = tuple(
        f"{spot.label}: {words}"
        for spots_told, say in ((now, _reason), (today, _reason), (unknown, _unknown), (outside, _outside))
        for spot in spots_told
        for words in (say(spot),)
    )
    n_well = len(spots) - len(not_well)
    if now:
        need = "needs" if len(now) == 1 else "need"
        return Verdict(Level.NOW, f"{_count(now)} {need} you now: {_names(now)}", details)
    if today:
        wants = "wants" if len(today) == 1 else "want"
        return Verdict(Level.TODAY, f"{_count(today)} {wants} a look today: {_names(today)}", details)
    if unknown:
        return Verdict(Level.UNSURE, f"{n_well} of {len(spots)} spots as wanted", details)
    if outside:
        return Verdict(Level.SETTLING, f"{n_well} of {len(spots)} spots as wanted", details)
    every = "The one spot is" if len(spots) == 1 else f"All {len(spots)} spots"
    return Verdict(Level.WELL, f"{every} as wanted")


def _blindness(room: RoomNow, zone: ZoneInfo) -> Verdict | None:
    newest = "Nothing has been read yet."
    if room.newest_ms is not None:
        at, ago = moment_words(room.newest_ms, room.at_ms, zone), ago_words(room.newest_ms, room.at_ms)
        newest = f"The newest reading is from {at}, {ago}."
    if not room.watched:
        return Verdict(Level.BLIND, "Nobody is watching", (newest, "Start it again with: baskline run"))
    if room.newest_ms is None or room.at_ms - room.newest_ms > _ALL_SILENT_MS:
        return Verdict(Level.BLIND, "No board speaks", (newest, "Check power and USB of the boards."))
    return None


def _reason(spot: SpotView) -> str:
    if spot.events and spot.events[0].severity is not Severity.NOTE:
        first = spot.events[0]
        seen = " (you have seen this)" if first.seen else ""
        return f"{first.who}{first.sentence}, since {first.since}{seen}"
    return f"{spot.value or 'not known'}, {spot.place_words}"


def _unknown(spot: SpotView) -> str:
    return f"not known, {spot.why_unknown}"


def _outside(spot: SpotView) -> str:
    if spot.place is Place.UNKNOWN:
        return f"{spot.value}: {spot.doubts}"
    return f"{spot.place_words}, not for long yet"


def _count(spots: Sequence[SpotView]) -> str:
    return "1 spot" if len(spots) == 1 else f"{len(spots)} spots"


def _names(spots: Sequence[SpotView]) -> str:
    shown = [spot.label for spot in spots[:3]]
    more = len(spots) - len(shown)
    return f"{', '.join(shown)}{f' and {more} more' if more else ''}"
