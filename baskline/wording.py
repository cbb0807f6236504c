"""Words for numbers, as the command line prints them."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from exposure.events import Event

if TYPE_CHECKING:
    from ingest.config import Config
    from ingest.day import SpotDay


def clock_time(utc_ms: int, zone: ZoneInfo) -> str:
    """Return a moment as the keeper's clock shows it."""
    return datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone).strftime("%H:%M")


def with_doubt(value: float | None, u_value: float | None, unit: str = "") -> str:
    """Return `2.9 ± 0.3`: a value with twice its standard uncertainty (k = 2), both to one decimal or two."""
    if value is None or u_value is None:
        return "not known"
    digits = 2 if 2 * u_value < 0.1 else 1
    return f"{value:.{digits}f} ± {2 * u_value:.{digits}f}{f' {unit}' if unit else ''}"


def hours(value: float | None) -> str:
    """Return hours to a tenth."""
    return "not known" if value is None else f"{value:.1f} h"


def event_words(event: Event, zone: ZoneInfo) -> str:
    """Return an event as one line of a day's story."""
    if event.closed_ms is None:
        return f"{clock_time(event.opened_ms, zone)} {event.sentence} (open)"
    if event.closed_ms == event.opened_ms:
        return f"{clock_time(event.opened_ms, zone)} {event.sentence}"
    return f"{clock_time(event.opened_ms, zone)} {event.sentence}; until {clock_time(event.closed_ms, zone)}"


def day_title(shown: "SpotDay", config: "Config") -> str:
    """Return the spot and the day."""
    label = config.spots[shown.spot].label
    return f"{label}, {shown.bounds.date.strftime('%A')} {shown.bounds.date.day} {shown.bounds.date:%B %Y}"


def day_summary(shown: "SpotDay") -> list[str]:
    """Return the day's main numbers as short phrases."""
    profile = shown.profile
    zone = ZoneInfo(shown.bounds.time_zone)
    least = "at least " if profile.at_least else ""
    if profile.dose_uvi_h is None:
        return [f"{100 * profile.coverage:.0f} % of the day seen with a value"]
    at = f" at {clock_time(profile.peak_ms, zone)}" if profile.peak_ms is not None else ""
    return [
        f"dose {least}{with_doubt(profile.dose_uvi_h, profile.u_dose_uvi_h, 'UVI·h')}",
        f"peak {least}{with_doubt(profile.peak_uvi, profile.u_peak_uvi)}{at}",
        f"{hours(profile.hours_in_band)} in band",
        f"{100 * profile.coverage:.0f} % of the day seen",
    ]


def day_lines(shown: "SpotDay", config: "Config") -> Iterator[str]:
    """Yield the lines that `baskline day` prints."""
    profile = shown.profile
    zone = ZoneInfo(shown.bounds.time_zone)
    spot = config.spots[shown.spot]
    lamp = config.lamps[spot.lamp]
    band = profile.band
    wanted = f"zone {spot.zone}, band" if spot.zone is not None and spot.own_band is None else "band"
    yield day_title(shown, config)
    yield (
        f"{config.enclosures[spot.enclosure].label}, {spot.kind} spot under {lamp.kind}; {wanted}"
        f" {band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}; ± is k = 2"
    )
    yield ""
    yield f"seen       {100 * profile.coverage:.0f} % of the day{_gap_words(shown, zone)}"
    if profile.dose_uvi_h is None:
        yield "           without a value: " + (", ".join(_flag_words(shown)) or "no readings")
    else:
        least = "at least " if profile.at_least else ""
        at = f" at {clock_time(profile.peak_ms, zone)}" if profile.peak_ms is not None else ""
        yield f"peak       {least}{with_doubt(profile.peak_uvi, profile.u_peak_uvi, 'UVI')}{at}"
        yield (
            f"dose       {least}{with_doubt(profile.dose_uvi_h, profile.u_dose_uvi_h, 'UVI·h')}"
            f" = {with_doubt(profile.dose_sed, profile.u_dose_sed, 'SED')}"
        )
        if profile.first_light_ms is not None and profile.last_light_ms is not None:
            yield (
                f"light      {clock_time(profile.first_light_ms, zone)} to"
                f" {clock_time(profile.last_light_ms, zone)}, {hours(profile.lit_hours)},"
                f" mean {with_doubt(profile.mean_uvi_lit, profile.u_mean_uvi_lit, 'UVI')}"
            )
            yield (
                f"in band    {hours(profile.hours_in_band)}; below {hours(profile.hours_below_band)},"
                f" above {hours(profile.hours_above_band)}, over the ceiling"
                f" {hours(profile.hours_above_ceiling)}"
            )
        else:
            yield "light      none seen"
        doubts = _flag_words(shown)
        if doubts:
            yield f"doubtful   {', '.join(doubts)}"
    for number, event in enumerate(shown.events):
        yield f"{'events' if number == 0 else '':10} {event_words(event, zone)}"


def _gap_words(shown: "SpotDay", zone: ZoneInfo) -> str:
    gaps = shown.profile.gaps
    if not gaps or shown.profile.coverage == 0:
        return ""
    spans = [f"{clock_time(gap.start_ms, zone)} to {clock_time(gap.end_ms, zone)}" for gap in gaps[:3]]
    more = f" and {len(gaps) - 3} more times" if len(gaps) > 3 else ""
    return f"; nothing from {', '.join(spans)}{more}"


def _flag_words(shown: "SpotDay") -> list[str]:
    return [
        f"{name.replace('_', ' ')} for {hours(spent)}"
        for name, spent in sorted(shown.profile.flag_hours.items())
    ]
