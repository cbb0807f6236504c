"""Sentences of a month's report."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from baskline.measured_words import local_moment, measured, rounded_like
from baskline.wording import FLAG_WORDS, clock_time
from calibrate.samples import VALUELESS
from exposure.bands import Band
from exposure.days import local_date
from exposure.events import Event, EventKind, Severity
from exposure.species import zones_text
from exposure.wording import duration_text
from exposure.zones import zone as exposure_zone
from ingest.config import Config
from ingest.config.places import SpotConfig
from ingest.month import EnclosureMonth, Month, SpotMonth, Unseen

# So many events fit on two pages; of more only those that could not wait are told one by one.
_MOST_EVENTS: Final = 60
_MOST_UNSEEN: Final = 40
_HOUR_MS: Final = 3_600_000
_MINUTE_MS: Final = 60_000
_VALUELESS: Final = frozenset(flag.name.lower() for flag in VALUELESS if flag.name is not None)


def band_words(spot: SpotConfig, band: Band) -> str:
    """Return what is wanted at a spot, and who says so."""
    row = spot.by_species
    if row is not None:
        whose = f"as for {row.name}" + (f", exposure {zones_text(row)}" if row.own_band is None else "")
    else:
        whose = f"by exposure zone {spot.zone}" if spot.own_band is None else "set by the keeper"
    return f"UVI {band.low_uvi:g} to {band.high_uvi:g}, never over {band.ceiling_uvi:g} ({whose})"


def received_sentences(spot: SpotMonth) -> Iterator[tuple[str, str]]:
    """Yield (what, words) of what a spot received."""
    if spot.seen_days == 0:
        why = "there is no UVI of this place in this time"
        if spot.calibrations and all(used.calibration is None for used in spot.calibrations):
            why = "its sensor has no calibration"
        yield "Received", f"not known: {why}"
        return
    days = len(spot.days.days)
    if spot.dose_uvi_h is not None and spot.least_dose_uvi_h is not None and spot.most_dose_uvi_h is not None:
        u_dose = spot.u_dose_uvi_h
        yield (
            "Dose",
            f"usually {measured(spot.dose_uvi_h.median, u_dose, 'UVI·h')} a day, between"
            f" {rounded_like(spot.least_dose_uvi_h, u_dose)} and {rounded_like(spot.most_dose_uvi_h, u_dose)}"
            f" on the {spot.whole_days} days of which nine tenths or more were seen",
        )
    else:
        yield "Dose", f"too few days were seen well ({spot.whole_days} of {days}) to say what is usual"
    if spot.mean_uvi is not None:
        yield "While lit", f"usually a mean UVI of {measured(spot.mean_uvi.median, spot.u_mean_uvi)}"
    hours = spot.total_hours
    yield (
        "Of the light",
        f"{hours['lit_hours']:.0f} h seen: {hours['hours_in_band']:.0f} h in the band,"
        f" {hours['hours_below_band']:.0f} h below it, {hours['hours_above_band']:.0f} h above it",
    )
    if spot.days_over_ceiling:
        on = "one day" if spot.days_over_ceiling == 1 else f"{spot.days_over_ceiling} days"
        yield "Over the ceiling", f"{hours['hours_above_ceiling']:.1f} h in all, on {on}"
    else:
        yield "Over the ceiling", "never, as far as it was seen"


def retreat_sentence(each: EnclosureMonth, config: Config) -> str:
    """Return whether the animal could get out of the light while it basked."""
    label = {spot.spot: config.spots[spot.spot].label for spot in each.spots}
    told = [seen for seen in each.gradients.values() if seen.has_retreat is not None]
    if not told:
        return (
            "Whether the animal can get out of the UV is not known: no spot of little UV was seen."
            " Look that there is shade."
        )
    with_retreat = [seen for seen in told if seen.has_retreat]
    places = " and ".join(
        dict.fromkeys(label[seen.retreat] for seen in with_retreat if seen.retreat is not None)
    )
    if not with_retreat:
        return (
            f"On none of the {len(told)} days that tell was a watched spot weak enough for a retreat."
            " Look that there is shade elsewhere."
        )
    days = (
        "every day that tells"
        if len(with_retreat) == len(told)
        else f"{len(with_retreat)} of {len(told)} days"
    )
    limit = f"mean UVI at most {exposure_zone(1).mean_high_uvi:g}"
    return f"A retreat with little UV ({limit}) was there on {days}: {places}."


def event_rows(
    month: Month, config: Config, zone: ZoneInfo
) -> tuple[list[tuple[tuple[str, ...], bool]], str]:
    """Return a row for each event with whether it was urgent, and what is left out in words."""
    found = {
        event.identity: event
        for each in month.enclosures
        for event in each.events
        if event.kind is not EventKind.BACK_IN_BAND  # the end of another
    }
    events = sorted(found.values(), key=lambda event: (event.opened_ms, event.identity))
    more = ""
    if len(events) > _MOST_EVENTS:
        urgent = [event for event in events if event.severity is Severity.NOW]
        kept = urgent[-_MOST_EVENTS:]
        last = "the last " if len(kept) < len(urgent) else ""
        more = (
            f"There were {len(events)} events. Only {last}{len(kept)} of those that could not wait are"
            " listed; `baskline events` lists all."
        )
        events = kept
    return [(_event_row(event, config, zone), event.severity is Severity.NOW) for event in events], more


def _event_row(event: Event, config: Config, zone: ZoneInfo) -> tuple[str, ...]:
    if event.subject_kind == "spot":
        where = config.spots[event.subject].label
    else:
        labels = [board.label for board in config.boards.values() if board.identity == event.subject]
        where = f"board: {labels[0]}" if labels else f"board {event.subject}"
    ended = "open" if event.closed_ms is None else _end(event.opened_ms, event.closed_ms, zone)
    what = _sentence(event.sentence)
    if event.closed_ms is not None and event.closing and event.closed_ms != event.opened_ms:
        what += f" Ended: {event.closing}."
    seen = "no" if event.acknowledged_ms is None else local_moment(event.acknowledged_ms, zone)
    return (local_moment(event.opened_ms, zone), ended, where, what, seen)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _end(opened_ms: int, closed_ms: int, zone: ZoneInfo) -> str:
    """Return when something ended: the time alone on the day on which it began."""
    if closed_ms == opened_ms:
        return ""
    same_day = _day(opened_ms, zone) == _day(closed_ms, zone)
    return clock_time(closed_ms, zone) if same_day else local_moment(closed_ms, zone)


def _day(utc_ms: int, zone: ZoneInfo) -> str:
    return local_date(utc_ms, zone.key).isoformat()


def unseen_rows(month: Month, config: Config, zone: ZoneInfo) -> list[tuple[str, ...]]:
    """Return a row for each time without a UVI, with its places; the longest if there are many."""
    together: dict[tuple[int, int, str], tuple[Unseen, list[str]]] = {}
    for each in month.enclosures:
        for spot in each.spots:
            for gap in spot.unseen:
                # To the minute: boards of one power cut fall silent within seconds.
                key = (gap.start_ms // _MINUTE_MS, gap.end_ms // _MINUTE_MS, _why(gap, spot, zone))
                together.setdefault(key, (gap, []))[1].append(config.spots[spot.spot].label)
    found = sorted(together.items(), key=lambda item: item[1][0].start_ms - item[1][0].end_ms)[:_MOST_UNSEEN]
    return [
        (local_moment(gap.start_ms, zone), _gap_end(gap, zone), _length(gap), ", ".join(places), why)
        for (_, _, why), (gap, places) in sorted(found, key=lambda item: item[1][0].start_ms)
    ]


def _gap_end(gap: Unseen, zone: ZoneInfo) -> str:
    end = datetime.fromtimestamp(gap.end_ms / 1000, zone)
    if end.hour == end.minute == 0:  # midnight ends the day before
        return f"{local_moment(gap.end_ms - 60_000, zone)[:-5]}24:00"
    return local_moment(gap.end_ms, zone)


def _length(gap: Unseen) -> str:
    spent = timedelta(milliseconds=gap.end_ms - gap.start_ms)
    if spent < timedelta(days=2):
        return duration_text(spent.total_seconds())
    return f"{spent / timedelta(days=1):.1f} days"


def _why(gap: Unseen, spot: SpotMonth, zone: ZoneInfo) -> str:
    """Return why there is no UVI: what the samples of those days lack, else that there were none."""
    first, last = _day(gap.start_ms, zone), _day(gap.end_ms - 1, zone)
    spent: dict[str, float] = {}
    for day in spot.days.days:
        if first <= day.date.isoformat() <= last and day.profile is not None:
            for name, hours in day.profile.flag_hours.items():
                if name in _VALUELESS:
                    spent[name] = spent.get(name, 0.0) + hours
    mostly = [name for name, hours in spent.items() if hours >= (gap.end_ms - gap.start_ms) / _HOUR_MS / 2]
    return ", ".join(FLAG_WORDS[name] for name in mostly) if mostly else "no readings"
