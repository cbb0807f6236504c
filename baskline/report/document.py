"""What a month's report says, as words in their order: the template only lays them out."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from baskline.charts.dates import date_span
from baskline.lamp_words import lamp_words
from baskline.measured_words import NOT_KNOWN, measured, percent, plain_day, short_day
from baskline.report.lamp_part import lamp_part
from baskline.report.parts import Document, EnclosurePart, Row, SpotPart, Table
from baskline.report.sentences import (
    band_words,
    event_rows,
    received_sentences,
    retreat_sentence,
    unseen_rows,
)
from baskline.week_words import doubt_words
from baskline.wording import clock_time
from calibrate.spot_check import verdict_of
from exposure.days import local_date
from exposure.events import EventKind
from exposure.kinds import KINDS
from ingest.config import Config
from ingest.month import EnclosureMonth, Month, SpotMonth
from ingest.week import ComparedDay

_NONE: Final = "–"
# A control chart of fewer checks shows nothing that their table does not.
_LEAST_CHECKS: Final = 3
# Less than that in a month is chance.
_LEAST_DOUBT_HOURS: Final = 0.5


def document_of(month: Month, config: Config, now_ms: int, version: str) -> Document:
    """Return what the report of a month says, made at `now_ms`."""
    zone = ZoneInfo(config.bridge.time_zone)
    spots = [spot for each in month.enclosures for spot in each.spots]
    events, more = event_rows(month, config, zone)
    unseen = unseen_rows(month, config, zone)
    checks = list(_check_rows(spots, config, zone))
    made = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone)
    return Document(
        title=f"UV report, {month.first:%B %Y}",
        place=f"{config.bridge.site}, {config.bridge.name}",
        span=date_span(month.first, month.last),
        standing=_standing(month, zone, now_ms),
        made=f"{plain_day(made.date())}, {made:%H:%M}, by baskline {version}",
        watched=Table(
            ("Place", "Enclosure", "Time seen", "Usual UVI", "Calibrated", "Last check with a meter"),
            [_watched_row(each, spot, config, zone) for each in month.enclosures for spot in each.spots],
            left=frozenset({0, 1, 4, 5}),
        ),
        surely=list(_surely(spots, config)),
        received=Table(
            ("Place", "Wanted UVI", "Dose a day, UVI·h", "In the band", "Below", "Above", "Over the ceiling"),
            [_received_row(spot, config) for spot in spots],
            strong=frozenset(n for n, spot in enumerate(spots) if spot.days_over_ceiling),
        ),
        enclosures=[_enclosure_part(each, config, zone) for each in month.enclosures],
        lamps=[lamp_part(lamp, month, config) for lamp in month.lamps],
        checks=Table(
            ("Day", "Place", "Meter", "Sensor (k = 2)", "Meter ÷ sensor", "Result"),
            checks,
            left=frozenset({0, 1, 5}),
            strong=frozenset(n for n, row in enumerate(checks) if row[-1] != "within"),
        )
        if checks
        else None,
        check_figures=[f"checks-{spot.spot}" for spot in spots if len(spot.series.checks) >= _LEAST_CHECKS],
        events=Table(
            ("Began", "Ended", "Where", "What happened", "Acknowledged"),
            [row for row, _ in events],
            left=frozenset(range(5)),
            strong=frozenset(n for n, (_, is_urgent) in enumerate(events) if is_urgent),
        )
        if events
        else None,
        more_events=more,
        unseen=Table(("From", "To", "For", "Place", "Why"), unseen, left=frozenset({0, 1, 3, 4}))
        if unseen
        else None,
    )


def _standing(month: Month, zone: ZoneInfo, now_ms: int) -> str:
    """Return whether the month is over, and since when nothing came; '' if all of it could be seen."""
    newest = datetime.fromtimestamp(month.newest_ms / 1000, zone)
    of_newest = f"{plain_day(newest.date())}, {newest:%H:%M}"
    days = f"{(month.last - month.first).days + 1} of the month's {month.end.day} days"
    if local_date(now_ms, zone.key) <= month.end:
        return f"The month is not over: this report covers {days}, and its newest reading is of {of_newest}."
    if month.is_whole:
        return ""
    return f"This report covers {days}: nothing was received after {of_newest}."


def _watched_row(each: EnclosureMonth, spot: SpotMonth, config: Config, zone: ZoneInfo) -> Row:
    made = [used.calibration.made_on for used in spot.calibrations if used.calibration is not None]
    days = len(spot.days.days)
    return (
        config.spots[spot.spot].label,
        config.enclosures[each.enclosure].label,
        f"{percent(spot.coverage)} of {days} {'day' if days == 1 else 'days'}",
        _usual_uvi(spot),
        ", ".join(plain_day(day) for day in dict.fromkeys(made)) if made else "not calibrated",
        _last_check(spot, zone),
    )


def _received_row(spot: SpotMonth, config: Config) -> Row:
    band = spot.days.band
    row = (
        config.spots[spot.spot].label,
        f"{band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}",
    )
    if spot.seen_days == 0:
        return (*row, NOT_KNOWN, *[_NONE] * 4)
    names = ("hours_in_band", "hours_below_band", "hours_above_band", "hours_above_ceiling")
    hours = (f"{spot.total_hours[name]:.{1 if name == 'hours_above_ceiling' else 0}f} h" for name in names)
    dose = measured(None if spot.dose_uvi_h is None else spot.dose_uvi_h.median, spot.u_dose_uvi_h)
    return (*row, dose, *hours)


def _usual_uvi(spot: SpotMonth) -> str:
    return measured(None if spot.mean_uvi is None else spot.mean_uvi.median, spot.u_mean_uvi)


def _last_check(spot: SpotMonth, zone: ZoneInfo) -> str:
    check = spot.last_check
    if check is None:
        return "none on record"
    day = local_date(check.at_ms, zone.key)
    return f"{plain_day(day)}: {verdict_of(check.e_n).value}"


def _surely(spots: Sequence[SpotMonth], config: Config) -> Iterator[str]:
    yield (
        "“Time seen” is the part of the time up to the newest reading from which there is a value."
        " “Usual UVI” is the median over the days of the mean while the lamp was on. ± is the interval that"
        " holds the true value with a probability of about 95 % (k = 2): it includes the calibration itself,"
        " the meter that it was calibrated with, the sensor’s noise and its temperature."
    )
    meters: dict[str, list[str]] = {}
    for spot in spots:
        for used in spot.calibrations:
            if used.calibration is not None:
                parts = used.calibration.uncertainty
                words = f"± {200 * parts.reference_relative:.0f} %"
                meters.setdefault(words, []).append(config.spots[spot.spot].label)
    if len(meters) == 1:
        (words,) = meters
        yield f"The hand-held meter of the calibrations is taken to be right within {words} (k = 2)."
    elif meters:
        each = "; ".join(f"{words} at {', '.join(dict.fromkeys(labels))}" for words, labels in meters.items())
        yield f"The hand-held meter of the calibrations is taken to be right (k = 2) within {each}."
    without = [config.spots[spot.spot].label for spot in spots if spot.seen_days == 0]
    if without:
        yield (f"Of {' and '.join(without)} no UVI is known in this time. That is not the same as no UV.")


def _enclosure_part(each: EnclosureMonth, config: Config, zone: ZoneInfo) -> EnclosurePart:
    enclosure = config.enclosures[each.enclosure]
    return EnclosurePart(
        anchor=f"enclosure-{each.enclosure}",
        title=enclosure.label,
        species=enclosure.species or "",
        notes=enclosure.notes or "",
        retreat=retreat_sentence(each, config),
        spots=[_spot_part(spot, each, config, zone) for spot in each.spots],
    )


def _spot_part(spot: SpotMonth, each: EnclosureMonth, config: Config, zone: ZoneInfo) -> SpotPart:
    configured = config.spots[spot.spot]
    place = "Retreat" if configured.kind == "retreat" else "Basking place"
    facts = [
        ("Lamp", f"{config.lamp_name(configured.lamp)}: {lamp_words(configured.lamp, config)}"),
        ("Wanted", band_words(configured, spot.days.band)),
        *received_sentences(spot),
    ]
    if spot.seen_days == 0:
        return SpotPart(f"{configured.label}: {place.lower()}", facts, "", None)
    doubt = doubt_words(spot.days.days, least_hours=_LEAST_DOUBT_HOURS)
    if doubt:
        facts.append(("Doubtful", doubt))
    notes = _notes_by_day(spot, each, zone)
    rows = [(*_day_row(day), notes.get(number, "")) for number, day in enumerate(spot.days.days)]
    return SpotPart(
        f"{configured.label}: {place.lower()}",
        facts,
        f"days-{spot.spot}",
        Table(
            (
                "Day",
                "Dose, UVI·h",
                "Mean UVI while lit",
                "Highest UVI",
                "below",
                "in band",
                "above",
                "over ceiling",
                "Seen",
                "What happened",
            ),
            rows,
            left=frozenset({0, 9}),
            strong=frozenset(
                number
                for number, day in enumerate(spot.days.days)
                if day.profile is not None and (day.profile.hours_above_ceiling or 0.0) >= 0.05
            ),
        ),
    )


def _day_row(day: ComparedDay) -> Row:
    profile = day.profile
    if profile is None:
        return (short_day(day.date), "not seen", *[_NONE] * 6, percent(0.0))
    least = profile.at_least
    hours = (
        profile.hours_below_band,
        profile.hours_in_band,
        profile.hours_above_band,
        profile.hours_above_ceiling,
    )
    return (
        short_day(day.date),
        _with_least(measured(profile.dose_uvi_h, profile.u_dose_uvi_h), least=least),
        _with_least(measured(profile.mean_uvi_lit, profile.u_mean_uvi_lit), least=least),
        _with_least(measured(profile.peak_uvi, profile.u_peak_uvi), least=least),
        *(_NONE if value is None else f"{value:.1f}" for value in hours),
        percent(profile.coverage),
    )


def _with_least(text: str, *, least: bool) -> str:
    if text == NOT_KNOWN:
        return _NONE
    return f"≥ {text}" if least else text


def _notes_by_day(spot: SpotMonth, each: EnclosureMonth, zone: ZoneInfo) -> Mapping[int, str]:
    """Return what began at the spot on each day, by the day's number in the month."""
    number_of = {day.date: number for number, day in enumerate(spot.days.days)}
    notes: dict[int, list[str]] = {}
    for event in each.events:
        if event.subject != spot.spot or event.kind is EventKind.BACK_IN_BAND:
            continue
        number = number_of.get(local_date(event.opened_ms, zone.key))
        if number is not None:
            began = clock_time(event.opened_ms, zone)
            notes.setdefault(number, []).append(f"{KINDS[event.kind].short} {began}")
    return {number: "; ".join(said) for number, said in notes.items()}


def _check_rows(spots: Sequence[SpotMonth], config: Config, zone: ZoneInfo) -> Iterator[Row]:
    checks = sorted((check for spot in spots for check in spot.checks), key=lambda check: check.at_ms)
    for check in checks:
        day = local_date(check.at_ms, zone.key)
        yield (
            plain_day(day),
            config.spots[check.spot].label,
            f"{check.reference_uvi:g}",
            measured(check.uvi, check.u_uvi),
            f"{check.ratio:.2f}",
            verdict_of(check.e_n).value,
        )
