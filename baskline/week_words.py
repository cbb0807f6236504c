"""A week in words, as `baskline week` prints it, and as JSON."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from baskline.calibration_words import aligned
from baskline.measured_words import full_day, measured, percent, short_day, times
from baskline.wording import FLAG_WORDS
from exposure.day_json import compared_fields, rounded
from exposure.kinds import KINDS
from exposure.wording import duration_text

if TYPE_CHECKING:
    from exposure.events import Event
    from exposure.profile import DayProfile
    from exposure.usual import Compared
    from ingest.config import Config
    from ingest.week import ComparedDay, EnclosureWeek, SpotDays, Week

SCHEMA: Final = "baskline.week/1"
WIDE: Final = 70
_HANG: Final = 10
_LABELS: Final = ("", "usual", "unusual", "not seen", "doubtful", "retreat", "events")

DAY_FIGURES: Final = (
    "dose_uvi_h",
    "u_dose_uvi_h",
    "dose_sed",
    "u_dose_sed",
    "mean_uvi_lit",
    "u_mean_uvi_lit",
    "peak_uvi",
    "u_peak_uvi",
    "lit_hours",
    "hours_below_band",
    "hours_in_band",
    "hours_above_band",
    "hours_above_ceiling",
)
"""What a week's JSON has of each day, by the names of `baskline day --json`."""

_COMPARED: Final = {
    "dose_uvi_h": ("dose", "UVI·h"),
    "mean_uvi_lit": ("mean UVI while lit", ""),
    "hours_in_band": ("in band", "h"),
    "lit_hours": ("light", "h"),
}
# Less than this seen, and what was missed may be why a day is unlike others.
_NEARLY_WHOLE: Final = 0.985


def week_lines(shown: "Week", config: "Config", *, wide: bool) -> Iterator[tuple[str, int]]:
    """Yield the lines of a week, each with where it goes on if it is too long; `wide` from 70 columns on."""
    for line in _lines(shown, config, wide=wide):
        yield line, _HANG if line[:_HANG].strip() in _LABELS else 2


def _lines(shown: "Week", config: "Config", *, wide: bool) -> Iterator[str]:
    yield f"{full_day(shown.first)} to {full_day(shown.last)}"
    yield "Hours below, in and above the band and over the ceiling; ± is k = 2."
    for each in shown.enclosures:
        enclosure = config.enclosures[each.enclosure]
        yield ""
        yield f"{enclosure.label}{f' ({enclosure.species})' if enclosure.species else ''}"
        for spot in each.spots:
            yield ""
            yield from _spot_lines(spot, config, wide=wide)
        yield ""
        yield f"retreat   {retreat_words(each, config)}"
        for number, line in enumerate(event_counts(each.events, config)):
            yield f"{'events' if number == 0 else '':9} {line}"


def _spot_lines(spot: "SpotDays", config: "Config", *, wide: bool) -> Iterator[str]:
    configured = config.spots[spot.spot]
    band = spot.band
    yield (
        f"{configured.label}: {configured.kind} spot, wanted {band.low_uvi:g} to {band.high_uvi:g},"
        f" never over {band.ceiling_uvi:g}"
    )
    rows: list[tuple[str, ...]] = [
        ("", "dose, UVI·h" if wide else "dose", "below", "in", "above", "over", "seen")
    ]
    rows += [_row(day) for day in spot.days]
    yield from aligned(rows, gap="   " if wide else " ")
    yield f"usual     {usual_words(spot.compared)}"
    odd = list(_odd_days(spot.days))
    if odd:
        yield f"unusual   {'; '.join(odd)}"
    unseen = [day for day in spot.days if day.record is None]
    if unseen:
        yield f"not seen  {', '.join(short_day(day.date) for day in unseen)}"
    doubts = doubt_words(spot.days)
    if doubts:
        yield f"doubtful  {doubts}"


def _row(day: "ComparedDay") -> tuple[str, ...]:
    profile = day.profile
    name = short_day(day.date)
    if profile is None:
        return (name, "not seen", "", "", "", "", percent(0.0))
    dose = measured(profile.dose_uvi_h, profile.u_dose_uvi_h)
    if profile.dose_uvi_h is None:
        dose = "no UVI"
    elif profile.at_least:
        dose = f"≥ {dose}"
    hours = (
        profile.hours_below_band,
        profile.hours_in_band,
        profile.hours_above_band,
        profile.hours_above_ceiling,
    )
    cells = ("" if value is None else f"{value:.1f}" for value in hours)
    return (name, dose, *cells, percent(profile.coverage))


def usual_words(compared: "Mapping[str, Compared]") -> str:
    """Return a week's dose a day beside that of the days before."""
    dose = compared.get("dose_uvi_h")
    if dose is None or dose.value is None:
        return "not known: too few of these days were seen well"
    before = [
        f"{usual.median:.1f} in the {n} before"
        for usual, n in ((dose.week, 7), (dose.month, 30))
        if usual is not None
    ]
    if not before:
        return f"{dose.value:.1f} UVI·h a day; nothing to compare with yet"
    verdict = "not like before" if dose.unlike else "much as before"
    return f"{dose.value:.1f} UVI·h a day, {', '.join(before)}: {verdict}"


def _odd_days(days: "Sequence[ComparedDay]") -> Iterator[str]:
    """Yield each day that was unlike the days before it, by the figure that says most."""
    for day in days:
        for name, (words, unit) in _COMPARED.items():
            compared = day.compared.get(name)
            if compared is None or not compared.unlike or compared.value is None:
                continue
            usual = compared.month or compared.week
            assert usual is not None
            assert day.profile is not None
            part = day.profile.coverage
            seen = f" ({percent(part)} of the day was seen)" if part < _NEARLY_WHOLE else ""
            value = f"{compared.value:.1f} {unit}".rstrip()
            yield f"{short_day(day.date)}, {words} {value} where {usual.median:.1f} is usual{seen}"
            break


def retreat_words(each: "EnclosureWeek", config: "Config") -> str:
    """Return whether the animal could get out of the light, on how many of the days."""
    label = {spot.spot: config.spots[spot.spot].label for spot in each.spots}
    told = {day: seen for day, seen in each.gradients.items() if seen.has_retreat is not None}
    if not told:
        unknown = [label[spot.spot] for spot in each.spots if all(_without_value(day) for day in spot.days)]
        why = f": no UVI is known of {', '.join(unknown)}" if unknown else ": one spot alone does not tell"
        return f"not known{why if each.gradients or unknown else ''}"
    with_retreat = [seen for seen in told.values() if seen.has_retreat]
    last = told[max(told)]
    range_text = ", ".join(f"{label[spot]} {last.mean_uvi[spot]:.1f}" for spot in last.spots)
    days = f"on {len(with_retreat)} of {len(told)} days"
    if not with_retreat:
        return f"none seen {days} (mean UVI while lit: {range_text}); see that there is shade elsewhere"
    places = list(dict.fromkeys(label[seen.retreat] for seen in with_retreat if seen.retreat is not None))
    return f"{', '.join(places)}, {days} (mean UVI while lit: {range_text})"


def _without_value(day: "ComparedDay") -> bool:
    return day.profile is None or day.profile.dose_uvi_h is None


def doubt_words(days: "Sequence[ComparedDay]", *, least_hours: float = 0.0) -> str:
    """Return what was doubtful about the samples of some days, and for how long in all, if that is much."""
    hours: dict[str, float] = {}
    for day in days:
        if day.profile is not None:
            for name, spent in day.profile.flag_hours.items():
                hours[name] = hours.get(name, 0.0) + spent
    return ", ".join(
        f"{FLAG_WORDS[name]} for {duration_text(3600 * spent)}"
        for name, spent in sorted(hours.items())
        if spent >= least_hours
    )


def event_counts(events: "Sequence[Event]", config: "Config") -> Iterator[str]:
    """Yield what happened in short, by place and kind: how often, for how long, and what is open still."""
    boards = {board.identity: f"board {board.label}" for board in config.boards.values()}
    counted: dict[tuple[str, str], list[Event]] = {}
    for event in events:
        if event.kind.value != "back_in_band":  # the end of what is counted already
            place = (
                config.spots[event.subject].label if event.subject_kind == "spot" else boards[event.subject]
            )
            counted.setdefault((place, KINDS[event.kind].short), []).append(event)
    for (place, what), found in counted.items():
        lasted_ms = sum(event.closed_ms - event.opened_ms for event in found if event.closed_ms is not None)
        lasted = f", {duration_text(lasted_ms / 1000)} in all" if lasted_ms else ""
        still = ", open now" if any(event.is_open for event in found) else ""
        yield f"{place}: {what} {times(len(found))}{lasted}{still}"


def week_fields(shown: "Week") -> dict[str, Any]:
    """Return a week as JSON."""
    from ingest.mqtt.payloads import event_fields

    def spot_fields(spot: "SpotDays") -> dict[str, Any]:
        return {
            "spot": spot.spot,
            "band": {
                "low_uvi": spot.band.low_uvi,
                "high_uvi": spot.band.high_uvi,
                "ceiling_uvi": spot.band.ceiling_uvi,
            },
            "days": [
                {
                    "date": day.date.isoformat(),
                    **_day_fields(day.profile),
                    "compared": compared_fields(day.compared),
                }
                for day in spot.days
            ],
            "compared": compared_fields(spot.compared),
        }

    return {
        "schema": SCHEMA,
        "first": shown.first.isoformat(),
        "last": shown.last.isoformat(),
        "enclosures": [
            {
                "enclosure": each.enclosure,
                "spots": [spot_fields(spot) for spot in each.spots],
                "gradients": [
                    {
                        "date": day.isoformat(),
                        "spots": list(seen.spots),
                        "mean_uvi": {spot: rounded(uvi) for spot, uvi in seen.mean_uvi.items()},
                        "has_retreat": seen.has_retreat,
                        "retreat": seen.retreat,
                    }
                    for day, seen in each.gradients.items()
                ],
                "events": [event_fields(event) for event in each.events],
            }
            for each in shown.enclosures
        ],
    }


def _day_fields(profile: "DayProfile | None") -> dict[str, Any]:
    """Return a day's main figures; what was not seen is None."""
    return {
        "coverage": 0.0 if profile is None else rounded(profile.coverage),
        "at_least": profile is not None and profile.at_least,
        **{name: None if profile is None else rounded(getattr(profile, name)) for name in DAY_FIGURES},
        "flag_hours": {}
        if profile is None
        else {name: rounded(hours) for name, hours in sorted(profile.flag_hours.items())},
    }
