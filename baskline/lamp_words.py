"""Lamps in words, as `baskline lamps` prints them, and as JSON."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Final

from baskline.charts.dates import date_span
from baskline.measured_words import measured, plain_day, rounded_like, times
from calibrate.lamp_kinds import LAMP_KINDS
from exposure.day_json import rounded
from exposure.lamps import BURN_IN_HOURS, LampState
from ingest.lamp_views import hung_since, now_since
from ingest.store.lamp_changes import LampChangeKind

if TYPE_CHECKING:
    from exposure.lamps import Forecast, LampReport
    from ingest.config import Config
    from ingest.lamp_views import LampView, Since
    from ingest.store.lamp_changes import LampChange

SCHEMA: Final = "baskline.lamps/1"
_HANG: Final = 16

CHANGE_WORDS: Final[Mapping[LampChangeKind, str]] = {
    LampChangeKind.LAMP: "a new lamp",
    LampChangeKind.DISTANCE: "another distance",
    LampChangeKind.MESH: "other mesh or glass",
    LampChangeKind.PLACE: "lamp, perch or sensor moved",
    LampChangeKind.OTHER: "something else changed",
}

_LIMIT_WORDS: Final = {
    "high": "above its band (over {limit})",
    "ceiling": "over the ceiling ({limit})",
    "low": "below its band (under {limit})",
    "due": "under seven tenths of its baseline ({limit})",
}


def lamps_lines(
    views: "Sequence[LampView]", changes: "Mapping[str, Sequence[LampChange]]", config: "Config"
) -> Iterator[tuple[str, int]]:
    """Yield the lines of some lamps, each with where it goes on if it is too long.

    The lamps are those in `changes`, which has all changes of each that were ever noted.
    """
    for number, lamp in enumerate(changes):
        if number:
            yield "", 0
        of_lamp = [view for view in views if view.lamp == lamp]
        for line in _lamp_lines(lamp, of_lamp, changes[lamp], config):
            yield line, _HANG if line.startswith(" ") else 2


def _lamp_lines(
    lamp: str, views: "Sequence[LampView]", changes: "Sequence[LampChange]", config: "Config"
) -> Iterator[str]:
    name = config.lamp_name(lamp)
    yield f"{name}{'' if name == lamp else f' ({lamp})'}: {lamp_words(lamp, config)}"
    yield f"  since         {since_words(lamp, changes, config)}"
    if not views:
        yield "  no verdict    no spot is lit by it"
    else:
        yield f"  burned        {hours_words(views)}"
    for view in views:
        yield f"  at            {config.spots[view.spot].label}"
        yield from (f"    {name:12}{words}" for name, words in view_words(view, config))
    replace_by = replace_by_of(views)
    if replace_by is not None:
        yield f"  replace by    {plain_day(replace_by)}, the earliest day on which it may be too weak"
    for change in changes:
        if not change.withdrawn:
            yield f"  change {change.change_id:<6} {change_words(change)}"


def lamp_words(lamp: str, config: "Config") -> str:
    """Return what a lamp is, how far away it hangs, and what its light passes through."""
    configured = config.lamps[lamp]
    stands = f"through {' and '.join(configured.between)}" if configured.between else "nothing in between"
    return f"{LAMP_KINDS[configured.kind].title}, {configured.distance_cm:g} cm away, {stands}"


def since_words(lamp: str, changes: "Sequence[LampChange]", config: "Config") -> str:
    """Return since when a lamp hangs, and since when as it does now."""
    hung, now = hung_since(config, lamp, changes), now_since(config, lamp, changes)
    last = "" if now == hung else f"; as it is now since {_day_words(now)}"
    return f"{_day_words(hung)}{last}"


def hours_words(views: "Sequence[LampView]") -> str:
    """Return for how long a lamp has burned, by the spot that saw most of it."""
    best = max((view.report for view in views), key=lambda report: (report.hours_seen, report.hours_on))
    if best.days == 0:
        if best.hours_on == 0:
            return "not known: nothing was seen of it yet"
        return f"about {best.hours_on:.0f} h"
    return (
        f"about {best.hours_on:.0f} h, of which {best.hours_seen:.0f} h were seen;"
        f" seen to come on {times(best.switch_ons)} in {best.days} days"
    )


def replace_by_of(views: "Sequence[LampView]") -> date | None:
    """Return the earliest day on which a lamp may be too weak for one of its spots."""
    return min((view.report.replace_by for view in views if view.report.replace_by is not None), default=None)


def view_words(view: "LampView", config: "Config") -> Iterator[tuple[str, str]]:
    """Yield (what, words) of a lamp as one of its spots has seen it."""
    report = view.report
    yield "verdict", state_words(view)
    if report.level_uvi is not None:
        u_level_uvi = _u_level(view)
        after = ""
        if report.baseline_uvi is not None:
            after = f"; baseline {rounded_like(report.baseline_uvi, u_level_uvi)}"
        yield "level", f"{measured(report.level_uvi, u_level_uvi, 'UVI')} (k = 2){after}"
    if report.times_claim is not None:
        claim = config.lamps[view.lamp].package_claim_uvi
        yield "package", f"{report.times_claim:.1f} times the {claim:g} that it claims for this distance"
    for forecast in report.forecasts:
        yield "forecast", forecast_words(forecast)
    for step in report.steps:
        way = "up" if step.ratio > 1 else "down"
        yield (
            "step",
            f"{way} by {100 * abs(step.ratio - 1):.0f} % on {plain_day(step.date)}: not how lamps age",
        )


def state_words(view: "LampView") -> str:
    """Return what can be said of a lamp, by one of its spots."""
    report = view.report
    match report.state:
        case LampState.BURNING_IN if not view.days and report.hours_on == 0:
            return "none: nothing was seen of it yet"
        case LampState.BURNING_IN if not view.days and report.hours_on >= BURN_IN_HOURS:
            return "none yet: no whole day was seen since it was changed"
        case LampState.BURNING_IN if view.days and all(day.level_uvi is None for day in view.days):
            return "none: no level of UVI is known here"
        case LampState.BURNING_IN:
            return f"none yet: burning in, {report.hours_on:.0f} of {BURN_IN_HOURS:.0f} h"
        case LampState.TOO_FEW_DAYS:
            return "none yet: too few days since the burn-in or the last step"
        case LampState.STEADY:
            return f"steady: {rate_words(report)}"
        case LampState.FADING:
            return f"fading: {rate_words(report)}"
        case LampState.RISING:
            return f"rising: {rate_words(report)}"


def rate_words(report: "LampReport") -> str:
    """Return `-1.5 % a week (-1.9 to -1.1)`, with the 95 % interval."""
    if report.per_week is None or report.per_week_low is None or report.per_week_high is None:
        return "not known"
    return (
        f"{_signed_percent(report.per_week)} % a week"
        f" ({_signed_percent(report.per_week_low)} to {_signed_percent(report.per_week_high)})"
    )


def _signed_percent(part: float) -> str:
    text = f"{100 * part:+.1f}"
    return "0.0" if float(text) == 0 else text.replace("-", "−")


def forecast_words(forecast: "Forecast") -> str:
    """Return when a level will pass a limit if it goes on as now."""
    what = _LIMIT_WORDS[forecast.limit].format(limit=f"{forecast.limit_uvi:.2g}")
    if forecast.latest is None:
        return (
            f"{what} from {plain_day(forecast.earliest)} on, most likely {plain_day(forecast.expected)},"
            " perhaps not within a year"
        )
    if forecast.earliest == forecast.latest:
        return f"{what} by now"
    return (
        f"{what} between {date_span(forecast.earliest, forecast.latest).replace(' to ', ' and ')},"
        f" most likely {plain_day(forecast.expected)}"
    )


def change_words(change: "LampChange") -> str:
    """Return a change in words."""
    note = f" ({change.note})" if change.note else ""
    return f"{_day_words(change)}, {CHANGE_WORDS[change.what]}{note}"


def _day_words(when: "Since | LampChange") -> str:
    """Return a day, with the time where it is known."""
    return f"{plain_day(when.day)}{'' if when.moment is None else f' at {when.moment.clock}'}"


def what_follows_words(change: "LampChange") -> str:
    """Return what a change means for what is said of the lamp, from when on, and what to measure after it."""
    if change.moment is None:
        begin, judged = "with the whole of that day, as its time is not known", "from that day on, all of it"
    else:
        begin, judged = f"at {change.moment.clock}", f"from {change.moment.clock} on"
    if change.what is LampChangeKind.LAMP:
        return (
            f"Its hours and its burn-in of 100 h begin anew {begin}. Compare the spots under it with your"
            " meter today and again after the burn-in"
        )
    return f"Its hours go on, and its level is judged {judged}. Compare the spots under it with your meter"


def _u_level(view: "LampView") -> float | None:
    """Return the standard uncertainty of the last day's level."""
    known = [day.u_level_uvi for day in view.days if day.u_level_uvi is not None]
    return known[-1] if known else None


def lamps_fields(
    views: "Sequence[LampView]", changes: "Mapping[str, Sequence[LampChange]]", config: "Config"
) -> dict[str, Any]:
    """Return lamps as JSON."""
    return {
        "schema": SCHEMA,
        "lamps": [
            {
                "lamp": lamp,
                "label": config.lamp_name(lamp),
                "kind": config.lamps[lamp].kind,
                "installed": hung_since(config, lamp, changes[lamp]).day.isoformat(),
                "distance_cm": config.lamps[lamp].distance_cm,
                "between": list(config.lamps[lamp].between),
                "package_claim_uvi": config.lamps[lamp].package_claim_uvi,
                "package_claim_at_cm": config.lamps[lamp].package_claim_at_cm,
                "replace_by": _iso(replace_by_of([view for view in views if view.lamp == lamp])),
                "spots": [_view_fields(view) for view in views if view.lamp == lamp],
                "changes": [change_fields(change) for change in changes[lamp]],
            }
            for lamp in changes
        ],
    }


def change_fields(change: "LampChange") -> dict[str, Any]:
    """Return one change as JSON."""
    return {
        "id": change.change_id,
        "date": change.day.isoformat(),
        "time": None if change.moment is None else change.moment.clock,
        "what": change.what.value,
        "note": change.note,
        "withdrawn": change.withdrawn,
    }


def _view_fields(view: "LampView") -> dict[str, Any]:
    report = view.report
    return {
        "spot": view.spot,
        "since": view.since.isoformat(),
        "state": report.state.value,
        "days": report.days,
        "hours_seen": rounded(report.hours_seen),
        "hours_on": rounded(report.hours_on),
        "switch_ons": report.switch_ons,
        "level_uvi": rounded(report.level_uvi),
        "u_level_uvi": rounded(_u_level(view)),
        "baseline_uvi": rounded(report.baseline_uvi),
        "times_claim": rounded(report.times_claim),
        "per_week": rounded(report.per_week),
        "per_week_low": rounded(report.per_week_low),
        "per_week_high": rounded(report.per_week_high),
        "steps": [
            {"date": step.date.isoformat(), "ratio": rounded(step.ratio), "u_ratio": rounded(step.u_ratio)}
            for step in report.steps
        ],
        "forecasts": [
            {
                "limit": each.limit,
                "limit_uvi": rounded(each.limit_uvi),
                "expected": each.expected.isoformat(),
                "earliest": each.earliest.isoformat(),
                "latest": _iso(each.latest),
            }
            for each in report.forecasts
        ],
        "replace_by": _iso(report.replace_by),
    }


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
