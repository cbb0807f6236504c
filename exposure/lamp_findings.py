"""What a lamp's days are worth telling: it leaves its band soon, something stepped, it is slow."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from statistics import median
from typing import Final

from exposure.days import local_date
from exposure.events import Event, EventKind, EvidenceValue, Severity
from exposure.findings import NOTHING_STOOD, Finding, Findings, NotSo, Standing
from exposure.lamp_days import LampDay
from exposure.lamps import Forecast, LampReport, LampState
from exposure.rules import RuleSettings

# Within so many days somebody should look at it today: a new lamp needs a week to come and to burn in.
_SOON_DAYS: Final = 14
# An open event stays until the day is so much further off: a forecast moves by as much from day to day.
_STAYS: Final = 1.5
# Of a lamp that hangs for less than four weeks, burn-in included, a forecast is worth nothing yet.
_LEAST_DAYS: Final = 28
# A step is told for so long; after that the new level is what there is.
_STEP_DAYS: Final = 21
# The day of a step is known to within a few days: its neighbours look alike.
_SAME_STEP_DAYS: Final = 4
# Of so many days before, at least so many must say how long the lamp usually takes.
_RAMP_DAYS, _LEAST_RAMP_DAYS = 14, 5
_SLOW_MINUTES: Final = 10.0


def lamp_findings(
    report: LampReport,
    days: Sequence[LampDay],
    settings: RuleSettings,
    open_events: Sequence[Event],
    stood: Mapping[EventKind, Standing] = NOTHING_STOOD,
) -> Findings:
    """Return what a lamp's days, since it was last changed, say by the end of the last of them.

    `report` is of the same days; `open_events` are the spot's and `stood` is what was so the day before, for
    what is told already stays told until it is clearly over.
    """
    if not days:
        return {}
    opened = {event.kind: event for event in open_events if event.is_open}
    of_before: dict[EventKind, Finding | NotSo] = {
        kind: NotSo("the lamp was changed since")
        for kind, event in opened.items()
        if kind in _OF_A_LAMP and _date_of(event, settings.time_zone) < days[0].date
    }
    still = {kind: event for kind, event in opened.items() if kind not in of_before}
    found = {
        **_ageing(report, days, settings, still),
        **_stepped(report, days[-1].date, settings, still, stood),
        **_slow(days, settings, still),
    }
    anew = {kind for kind, finding in found.items() if isinstance(finding, Finding)}
    return {**found, **{kind: ended for kind, ended in of_before.items() if kind not in anew}}


_OF_A_LAMP: Final = frozenset(
    {
        EventKind.LAMP_RISING,
        EventKind.LAMP_FADING,
        EventKind.LEVEL_STEPPED,
        EventKind.LAMP_WARMS_UP_SLOWLY,
    }
)


def _date_of(event: Event, time_zone: str) -> date:
    """Return the day that an event is of: it opened when that day ended."""
    return local_date(event.opened_ms - 1, time_zone)


def _ageing(
    report: LampReport, days: Sequence[LampDay], settings: RuleSettings, opened: dict[EventKind, Event]
) -> dict[EventKind, Finding | NotSo]:
    """Find a lamp that leaves its band soon; a trend in doubt neither opens nor closes."""
    if report.per_week is None:
        return {}
    today = days[-1].date
    found: dict[EventKind, Finding | NotSo] = {}
    for kind, sign in ((EventKind.LAMP_RISING, 1), (EventKind.LAMP_FADING, -1)):
        if report.per_week * sign <= 0:
            found[kind] = NotSo("the lamp's level no longer goes that way")
            continue
        told = kind in opened
        soonest = min(report.forecasts, key=lambda each: each.earliest, default=None)
        if soonest is None:
            if not told:
                found[kind] = NotSo("no trend")
            continue
        notice = timedelta(days=settings.lamp_notice_days * (_STAYS if told else 1.0))
        if soonest.earliest > today + notice or (not told and soonest.expected > today + 2 * notice):
            found[kind] = NotSo("the lamp's level will not leave its band soon")
        elif told or len(days) >= _LEAST_DAYS:
            found[kind] = _leaving(report, soonest, today)
    return found


def _leaving(report: LampReport, forecast: Forecast, today: date) -> Finding:
    assert report.per_week is not None
    assert report.per_week_low is not None
    assert report.per_week_high is not None
    verb = "rises" if report.per_week > 0 else "fades"
    slow, fast = sorted((abs(report.per_week_low), abs(report.per_week_high)))
    where = {
        "high": "leave the band upwards",
        "ceiling": "pass the ceiling",
        "low": "leave the band downwards",
        "due": "be under seven tenths of what it was after its burn-in",
    }[forecast.limit]
    evidence: dict[str, EvidenceValue] = {
        "per_week": report.per_week,
        "per_week_low": report.per_week_low,
        "per_week_high": report.per_week_high,
        "level_uvi": report.level_uvi,
        "limit": forecast.limit,
        "limit_uvi": forecast.limit_uvi,
        "expected": forecast.expected.isoformat(),
        "earliest": forecast.earliest.isoformat(),
        "latest": forecast.latest.isoformat() if forecast.latest else None,
    }
    sentence = (
        f"the lamp {verb} by {100 * abs(report.per_week):.1f} % a week "
        f"({100 * slow:.1f} to {100 * fast:.1f}) and may {where} "
        f"from {forecast.earliest.isoformat()} on, most likely about {forecast.expected.isoformat()}"
    )
    soon = forecast.expected <= today + timedelta(days=_SOON_DAYS)
    return Finding(sentence, evidence, Severity.TODAY if soon else Severity.NOTE)


def _stepped(
    report: LampReport,
    today: date,
    settings: RuleSettings,
    opened: dict[EventKind, Event],
    stood: Mapping[EventKind, Standing],
) -> dict[EventKind, Finding | NotSo]:
    if report.state is LampState.BURNING_IN:
        return {}
    large = [step for step in report.steps if abs(step.ratio - 1) >= settings.step_part]
    recent = [step for step in large if (today - step.date).days <= _STEP_DAYS]
    if not recent:
        return {EventKind.LEVEL_STEPPED: NotSo("the new level has lasted, and is taken for what there is")}
    step = recent[-1]
    about = step.date
    told, known = opened.get(EventKind.LEVEL_STEPPED), stood.get(EventKind.LEVEL_STEPPED)
    told_about = str(told.evidence["about"]) if told is not None else known.about if known is not None else ""
    if told_about:
        told_of = date.fromisoformat(told_about)
        if abs((told_of - about).days) <= _SAME_STEP_DAYS:
            about = told_of
    way = "rose" if step.ratio > 1 else "fell"
    finding = Finding(
        f"the level {way} by {100 * abs(step.ratio - 1):.0f} % from one day to the next about "
        f"{about.isoformat()}, which is not how lamps age",
        {"ratio": step.ratio, "u_ratio": step.u_ratio},
        about=about.isoformat(),
    )
    return {EventKind.LEVEL_STEPPED: finding}


def _slow(
    days: Sequence[LampDay], settings: RuleSettings, opened: dict[EventKind, Event]
) -> dict[EventKind, Finding | NotSo]:
    """Find two slow days in a row; a single quick one ends it."""
    kind = EventKind.LAMP_WARMS_UP_SLOWLY
    recent = 1 if kind in opened else 2
    ramps = [day.ramp_minutes for day in days[-recent:]]
    if None in ramps:
        return {}
    known = [day.ramp_minutes for day in days[:-recent] if day.ramp_minutes is not None]
    if kind in opened:
        told = opened[kind].evidence.get("usual_minutes")
        usual = float(told) if isinstance(told, float | int) else 0.0
    elif len(known) < _LEAST_RAMP_DAYS:
        return {}
    else:
        usual = median(known[-_RAMP_DAYS:])
    quickest = min(ramp for ramp in ramps if ramp is not None)
    if quickest <= max(settings.slow_times * usual, usual + _SLOW_MINUTES):
        return {kind: NotSo(f"up to strength within {quickest:.0f} min")}
    return {
        kind: Finding(
            f"the lamp takes {quickest:.0f} min to come up to strength, where {usual:.0f} min are usual",
            {"ramp_minutes": quickest, "usual_minutes": usual},
        )
    }
