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
    UNSURE = "unsure"  # of some spots nothing is known for sure
    SETTLING = "settling"  # outside the band, not for long enough, or not surely enough, to be told
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
    unknown = [spot for spot in spots if spot not in now and not spot.value]
    today = [spot for spot in spots if spot not in (*now, *unknown) and spot.gravest is Severity.TODAY]
    rest = [spot for spot in spots if spot not in (*now, *unknown, *today)]
    doubted = [spot for spot in rest if spot.place is Place.UNKNOWN]
    outside = [spot for spot in rest if spot.place in (Place.UNDER_BAND, Place.ABOVE_BAND)]
    n_well = len(rest) - len(doubted) - len(outside)
    said = ((now, _reason), (today, _reason), (unknown, _unknown), (doubted, _doubted), (outside, _outside))
    details = [f"{spot.label}: {say(spot)}" for told, say in said for spot in told]
    if details and n_well:
        details.append("The other spot is as wanted" if n_well == 1 else f"The other {n_well} are as wanted")
    level, sentence = _gravest(now, today, unknown, doubted, outside)
    if level is Level.WELL:
        sentence = "The one spot is as wanted" if len(spots) == 1 else f"All {len(spots)} spots as wanted"
    return Verdict(level, sentence, tuple(details))


def _gravest(
    now: Sequence[SpotView],
    today: Sequence[SpotView],
    unknown: Sequence[SpotView],
    doubted: Sequence[SpotView],
    outside: Sequence[SpotView],
) -> tuple[Level, str]:
    """Return what is said first.  What is not known is never passed over for what is well."""
    if now:
        return Level.NOW, f"{_count(now)} {'needs' if len(now) == 1 else 'need'} you now: {_names(now)}"
    look_for_it = any(spot.gravest is Severity.TODAY for spot in unknown)
    sentences = []
    if today:
        wants = "wants" if len(today) == 1 else "want"
        sentences.append(f"{_count(today)} {wants} a look today: {_names(today)}")
    if unknown:
        look = ", look today" if look_for_it and not today else ""
        sentences.append(f"{_count(unknown)} not known{look}: {_names(unknown)}")
    if doubted:
        sentences.append(f"{_count(doubted)} in doubt: {_names(doubted)}")
    if sentences:
        return (Level.TODAY if today or look_for_it else Level.UNSURE), ". ".join(sentences)
    if outside:
        own = "its" if len(outside) == 1 else "their"
        return Level.SETTLING, f"{_count(outside)} outside {own} band for now: {_names(outside)}"
    return Level.WELL, ""


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


def _doubted(spot: SpotView) -> str:
    return f"{spot.value}: {spot.doubts}"


def _outside(spot: SpotView) -> str:
    figure = spot.figure
    limit_x = figure.low_x if spot.place is Place.UNDER_BAND else figure.high_x
    if figure.from_x <= limit_x <= figure.to_x:
        return f"{spot.value}, {spot.place_words}, but by no more than its uncertainty"
    return f"{spot.value}, {spot.place_words}, not for long yet"


def _count(spots: Sequence[SpotView]) -> str:
    return "1 spot" if len(spots) == 1 else f"{len(spots)} spots"


def _names(spots: Sequence[SpotView]) -> str:
    shown = [spot.label for spot in spots[:3]]
    more = len(spots) - len(shown)
    return f"{', '.join(shown)}{f' and {more} more' if more else ''}"
