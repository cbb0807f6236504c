"""A spot in words and shapes: what the overview says of it.  Pure."""

from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from baskline.measured_words import measured
from baskline.wording import FLAG_WORDS, clock_time
from calibrate.samples import AT_LEAST, VALUELESS, Flag
from exposure.days import local_date
from exposure.events import GRAVEST_FIRST, Event, Severity
from exposure.place import Place
from exposure.wording import duration_text
from ingest.config import Config
from ingest.mqtt.payloads import flag_names
from ingest.present import RoomNow, SpotNow

PLACE_WORDS: Final = {
    Place.IN_BAND: "in its band",
    Place.UNDER_BAND: "under its band",
    Place.ABOVE_BAND: "above its band",
    Place.OVER_CEILING: "over its ceiling",
    Place.DARK: "lamp off",
    Place.UNKNOWN: "not known",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EventView:
    """An open event of a spot or of its board."""

    identity: str
    severity: Severity
    who: str
    sentence: str
    advice: str
    since: str
    seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotView:
    """One spot as it is shown.

    `value` and `why_unknown`: one of them is ''.  `last` says the last value where there is none now.
    """

    key: str
    label: str
    place: Place
    place_words: str
    value: str
    why_unknown: str
    last: str
    doubts: str
    wanted: str
    dose: str
    events: tuple[EventView, ...]
    figure: "Figure"

    @property
    def gravest(self) -> Severity | None:
        """The gravest of its open events."""
        return next((event.severity for event in self.events), None)

    @property
    def spoken(self) -> str:
        """The whole in one sentence, for who cannot see the figure."""
        if self.value:
            return f"{self.label}: {self.value} UVI, {self.place_words}. {self.wanted}."
        return f"{self.label}: not known, {self.why_unknown}. {self.last}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A scale from left to right, in the units of its drawing: where band, ceiling and value stand.

    `shown` tells whether there is a value; `then` that it is not of now; `open_end` that the true value may
    lie further right.
    """

    low_x: float
    high_x: float
    ceiling_x: float
    low: str
    high: str
    ceiling: str
    shown: bool
    then: bool
    open_end: bool
    value_x: float
    from_x: float
    to_x: float


WIDTH: Final = 320
_LEFT, _RIGHT = 8.0, 312.0


def spot_view(room: RoomNow, spot: SpotNow, config: Config) -> SpotView:
    """Return how a spot is shown."""
    state, zone = spot.state, ZoneInfo(config.bridge.time_zone)
    value = ""
    if state.uvi is not None and state.u_uvi is not None:
        value = measured(state.uvi, state.u_uvi, at_least=bool(state.flags & AT_LEAST))
    return SpotView(
        key=state.spot,
        label=config.spots[state.spot].label,
        place=state.place,
        place_words=PLACE_WORDS[state.place],
        value=value,
        why_unknown="" if value else _why_unknown(room, spot, zone),
        last="" if value else _last_words(room, spot, zone),
        doubts=_doubts(spot) if value else "",
        wanted=f"Wanted {state.band_low_uvi:g} to {state.band_high_uvi:g}, never over {state.ceiling_uvi:g}",
        dose=_dose_words(spot),
        events=tuple(_event_views(room, spot, zone)),
        figure=_figure(spot),
    )


def moment_words(at_ms: int, now_ms: int, zone: ZoneInfo) -> str:
    """Return a time of day, with its date where that is not today."""
    day = local_date(at_ms, zone.key)
    clock = clock_time(at_ms, zone)
    if day == local_date(now_ms, zone.key):
        return clock
    year = "" if day.year == local_date(now_ms, zone.key).year else f" {day.year}"
    return f"{clock} on {day.day} {day:%B}{year}"


def ago_words(at_ms: int, now_ms: int) -> str:
    """Return how long ago that was."""
    seconds = max(0.0, (now_ms - at_ms) / 1000)
    if seconds < 3 * 86_400:
        return f"{duration_text(seconds)} ago"
    return f"{seconds / 86_400:.0f} days ago"


def _why_unknown(room: RoomNow, spot: SpotNow, zone: ZoneInfo) -> str:
    state = spot.state
    if state.at_ms is None:
        return "no reading yet"
    if not spot.current:
        return f"no reading since {moment_words(state.at_ms, room.at_ms, zone)}"
    names = flag_names(state.flags & VALUELESS)
    return FLAG_WORDS[names[0]] if names else "the sensor gives no value"


def _last_words(room: RoomNow, spot: SpotNow, zone: ZoneInfo) -> str:
    if spot.last is None:
        return ""
    at_ms, uvi, u_uvi, flags = spot.last
    value = measured(uvi, u_uvi, "UVI", at_least=bool(flags & AT_LEAST))
    return f"Last known: {value} at {moment_words(at_ms, room.at_ms, zone)}"


def _doubts(spot: SpotNow) -> str:
    # A lamp that is off is below what can be calibrated; that tells nobody anything.
    expected = Flag.BELOW_RANGE if spot.state.place is Place.DARK else Flag(0)
    return ", ".join(FLAG_WORDS[name] for name in flag_names(spot.state.flags & ~expected))


def _dose_words(spot: SpotNow) -> str:
    state = spot.state
    if state.dose_uvi_h is None:
        return "Today's dose is not known"
    seen = round(100 * state.coverage)
    return f"Today {state.dose_uvi_h:.1f} UVI·h, {seen} % of the day seen"


def _event_views(room: RoomNow, spot: SpotNow, zone: ZoneInfo) -> list[EventView]:
    def rank(event: Event) -> tuple[int, int]:
        return GRAVEST_FIRST.index(event.severity), event.opened_ms

    return [
        EventView(
            identity=event.identity,
            severity=event.severity,
            who=f"Board {event.subject}: " if event.subject_kind == "board" else "",
            sentence=event.sentence,
            advice=event.advice,
            since=moment_words(event.opened_ms, room.at_ms, zone),
            seen=event.acknowledged_ms is not None,
        )
        for event in sorted(room.events_of(spot), key=rank)
    ]


def _figure(spot: SpotNow) -> Figure:
    state = spot.state
    low, high, ceiling = state.band_low_uvi, state.band_high_uvi, state.ceiling_uvi
    assert low is not None
    assert high is not None
    assert ceiling is not None
    uvi, u_uvi, flags = state.uvi, state.u_uvi, state.flags
    then = uvi is None and spot.last is not None
    if uvi is None and spot.last is not None:
        _, uvi, u_uvi, flags = spot.last
    to_uvi = ceiling * 1.3
    if uvi is not None and u_uvi is not None:
        to_uvi = max(to_uvi, uvi + 2.2 * u_uvi)

    def x(value: float) -> float:
        part = min(max(value / to_uvi, 0.0), 1.0)
        return round(_LEFT + part * (_RIGHT - _LEFT), 1)

    middle, half = (uvi, 2 * (u_uvi or 0.0)) if uvi is not None else (0.0, 0.0)
    return Figure(
        low_x=x(low),
        high_x=x(high),
        ceiling_x=x(ceiling),
        low=f"{low:g}",
        high=f"{high:g}",
        ceiling=f"{ceiling:g}",
        shown=uvi is not None,
        then=then,
        open_end=bool(flags & AT_LEAST),
        value_x=x(middle),
        from_x=x(middle - half),
        to_x=x(middle + half),
    )
