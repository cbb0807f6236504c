"""Events beside the truth: which were right, which were missed, how early the slow ones came.

What must be told is what is beyond the sensor's own doubt (15 %, three times its 5 %); what is false is what
opens when the truth is on the right side of the limit.  What lies between may be told or not.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from exposure.events import Event, EventKind
from exposure.lamps import Forecast
from tests.bench.study.run import Run
from tests.bench.study.world import (
    BAND,
    FIRST_DAY,
    OFF_MINUTE,
    ON_MINUTE,
    SETTINGS,
    Incident,
)

_DOUBT = 0.15
# For how many minutes in one piece an incident must be seen to be told: its hold and a little more.
_NEEDED_MINUTES = {
    EventKind.LAMP_OFF_BY_DAY: 23,
    EventKind.LAMP_ON_AT_NIGHT: 23,
    EventKind.LAMP_FLICKERS: 30,
    EventKind.LAMP_WARMS_UP_SLOWLY: 3 * 1440,
    EventKind.SENSOR_STUCK: 363,
    EventKind.SENSOR_SATURATED: 18,
    EventKind.SENSOR_TEMPERATURE: 18,
    EventKind.SENSOR_NEGATIVE: 18,
    EventKind.SENSOR_WITHOUT_VALUE: 18,
    EventKind.BOARD_SILENT: 7,
}
_LIMITS: dict[EventKind, tuple[Callable[[np.ndarray, float], np.ndarray], int]] = {
    EventKind.OVER_CEILING: (lambda uvi, doubt: uvi > BAND.ceiling_uvi * (1 + doubt), 4),
    EventKind.ABOVE_BAND: (
        lambda uvi, doubt: (uvi > BAND.high_uvi * (1 + doubt)) & (uvi <= BAND.ceiling_uvi * (1 - doubt / 2)),
        35,
    ),
    EventKind.UNDER_BAND: (lambda uvi, doubt: (uvi > 0.3) & (uvi < BAND.low_uvi * (1 - doubt)), 50),
}
_WARM_MINUTE = ON_MINUTE + 40


@dataclass(slots=True)
class Score:
    """Of one kind: events that were right and false, things that had to be told and were."""

    right: int = 0
    false: int = 0
    had_to: int = 0
    told: int = 0
    warnings_days: list[float] = field(default_factory=list)

    def add(self, other: "Score") -> None:
        self.right += other.right
        self.false += other.false
        self.had_to += other.had_to
        self.told += other.told
        self.warnings_days += other.warnings_days


@dataclass(slots=True)
class Verdict:
    """The scores of a year by kind, forecasts that held their interval, and breaches of the ceiling.

    Silent ones were beyond doubt, and told neither as over the ceiling nor as above the band; doubtful ones
    were within the doubt.
    """

    scores: dict[EventKind, Score] = field(default_factory=dict)
    forecasts: int = 0
    forecasts_held: int = 0
    silent_breaches: int = 0
    doubtful_breaches: int = 0
    doubtful_told: int = 0

    def score(self, kind: EventKind) -> Score:
        return self.scores.setdefault(kind, Score())

    def add(self, other: "Verdict") -> None:
        for kind, score in other.scores.items():
            self.score(kind).add(score)
        self.forecasts += other.forecasts
        self.forecasts_held += other.forecasts_held
        self.silent_breaches += other.silent_breaches
        self.doubtful_breaches += other.doubtful_breaches
        self.doubtful_told += other.doubtful_told


def judge(run: Run) -> Verdict:
    """Hold one lamp's events against its truth."""
    verdict = Verdict()
    truth = np.array([run.lamp.truth_uvi(day) for day in range(len(run.coverage))])
    seen = _seen(run, truth.size)
    for kind in _NEEDED_MINUTES:
        _judge_incidents(run, kind, seen, verdict.score(kind))
    for kind in _LIMITS:
        _judge_limit(run, kind, truth, seen, verdict)
    _judge_doses(run, truth, verdict)
    _judge_ageing(run, EventKind.LAMP_FADING, verdict.score(EventKind.LAMP_FADING))
    _judge_ageing(run, EventKind.LAMP_RISING, verdict.score(EventKind.LAMP_RISING))
    _judge_steps(run, verdict.score(EventKind.LEVEL_STEPPED))
    _judge_forecasts(run, verdict)
    return verdict


def _minute(run: Run, at_ms: int) -> int:
    return (at_ms - run.lamp.bounds(0).start_ms) // 60_000


def _of_kind(run: Run, kind: EventKind) -> list[Event]:
    return [event for event in run.events if event.kind is kind]


def _seen(run: Run, n: int) -> np.ndarray:
    seen = np.ones(n, np.bool_)
    for each in run.lamp.incidents:
        if each.kind in (EventKind.BOARD_SILENT, EventKind.SENSOR_WITHOUT_VALUE):
            seen[each.begin : each.end] = False
    return seen


def _longest(column: np.ndarray) -> int:
    """Return the length of the longest stretch that is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], column.astype(np.int8), [0]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def _judge_incidents(run: Run, kind: EventKind, seen: np.ndarray, score: Score) -> None:
    incidents = [each for each in run.lamp.incidents if each.kind is kind and each.begin < len(seen)]
    events = _of_kind(run, kind)

    def is_of(event: Event, incident: Incident) -> bool:
        late = 1441 if kind is EventKind.LAMP_WARMS_UP_SLOWLY else 5
        return incident.begin <= _minute(run, event.opened_ms) <= incident.end + late

    for event in events:
        if any(is_of(event, each) for each in incidents):
            score.right += 1
        else:
            score.false += 1
    for each in incidents:
        part = seen[each.begin : each.end]
        if kind in (EventKind.BOARD_SILENT, EventKind.SENSOR_WITHOUT_VALUE):
            other = [
                gap for gap in run.lamp.incidents if gap.kind is EventKind.BOARD_SILENT and gap is not each
            ]
            if any(gap.begin <= each.end and each.begin <= gap.end for gap in other):
                continue  # two in one: counted with neither
            part = ~part
        whole_days = kind is EventKind.LAMP_WARMS_UP_SLOWLY
        if (len(part) if whole_days else _longest(part)) >= _NEEDED_MINUTES[kind]:
            score.had_to += 1
            score.told += any(is_of(event, each) for event in events)


def _judge_limit(run: Run, kind: EventKind, truth: np.ndarray, seen: np.ndarray, verdict: Verdict) -> None:
    beyond, needed = _LIMITS[kind]
    score, events, flat = verdict.score(kind), _of_kind(run, kind), truth.ravel()
    unclear = np.zeros(truth.size, np.bool_)  # a sensor that is stuck or saturated, a lamp that flickers
    for each in run.lamp.incidents:
        if each.kind in (EventKind.SENSOR_STUCK, EventKind.LAMP_FLICKERS, EventKind.LAMP_WARMS_UP_SLOWLY):
            unclear[each.begin : each.end + 60] = True
    for event in events:
        minute = _minute(run, event.opened_ms)
        just = flat[max(0, minute - 2) : minute + 1]
        over = kind is EventKind.ABOVE_BAND and (just > BAND.high_uvi).any()  # over the ceiling too
        if unclear[minute] or over or beyond(just, 0.0).any():
            score.right += 1
        else:
            score.false += 1
    for day in range(len(truth)):
        first = day * 1440
        told = _open_on(run, events, day)
        part = slice(first + _WARM_MINUTE, first + OFF_MINUTE)
        usable = seen[part] & ~unclear[part]
        if _longest(beyond(flat[part], _DOUBT) & usable) >= needed:
            score.had_to += 1
            score.told += told
            if kind is EventKind.OVER_CEILING and not told:
                verdict.silent_breaches += not _open_on(run, _of_kind(run, EventKind.ABOVE_BAND), day)
        elif kind is EventKind.OVER_CEILING and _longest(beyond(flat[part], 0.0) & usable) >= 17:
            verdict.doubtful_breaches += 1
            verdict.doubtful_told += told


def _open_on(run: Run, events: Sequence[Event], day: int) -> bool:
    first = day * 1440
    spans = [(_minute(run, event.opened_ms), _closed_minute(run, event)) for event in events]
    return any(begin < first + 1440 and end >= first for begin, end in spans)


def _closed_minute(run: Run, event: Event) -> int:
    return 1 << 40 if event.closed_ms is None else _minute(run, event.closed_ms)


def _judge_doses(run: Run, truth: np.ndarray, verdict: Verdict) -> None:
    dose = truth.sum(axis=1) / 60
    for kind, part, sign in (
        (EventKind.DOSE_LOW, SETTINGS.dose_low_part, -1),
        (EventKind.DOSE_HIGH, SETTINGS.dose_high_part, +1),
    ):
        score, events = verdict.score(kind), _of_kind(run, kind)
        over = [sign * (dose[n] - part * np.median(dose[max(0, n - 30) : n or 1])) for n in range(len(dose))]
        opened = {_minute(run, event.opened_ms) // 1440 - 1: event for event in events}
        for day in opened:
            if over[day] > -0.05 * dose[day]:
                score.right += 1
            else:
                score.false += 1
        closed = [(_minute(run, e.opened_ms) // 1440 - 1, _closed_minute(run, e) // 1440 - 1) for e in events]
        for day in range(31, len(dose)):
            if over[day] > _DOUBT * dose[day] and run.coverage[day] > 0.99 and not _is_odd(run, day):
                score.had_to += 1
                score.told += any(begin <= day < end for begin, end in closed)


def _is_odd(run: Run, day: int) -> bool:
    """Return whether the sensor said something wrong for hours of that day."""
    return any(
        each.kind in (EventKind.SENSOR_STUCK, EventKind.SENSOR_SATURATED) and each.on(day) is not None
        for each in run.lamp.incidents
    )


def _last_change(run: Run, day: int) -> int:
    return max(change for change in run.lamp.changes if change <= day)


def _judge_ageing(run: Run, kind: EventKind, score: Score) -> None:
    sign = 1 if kind is EventKind.LAMP_RISING else -1
    rate, events = run.lamp.plan.per_week, _of_kind(run, kind)
    for event in events:
        day = min(_minute(run, event.opened_ms) // 1440 - 1, len(run.coverage) - 1)
        if rate * sign > 0.003 and _days_to_limit(run, day, sign) <= 3 * SETTINGS.lamp_notice_days:
            score.right += 1
        else:
            score.false += 1
    for day in _crossings(run, sign):
        score.had_to += 1
        open_then = [
            e for e in events if _minute(run, e.opened_ms) // 1440 <= day <= _closed_minute(run, e) // 1440
        ]
        score.told += bool(open_then)
        score.warnings_days += [day - _minute(run, e.opened_ms) / 1440 for e in open_then[:1]]


def _days_to_limit(run: Run, day: int, sign: int) -> float:
    """Return after how many days the lamp's ageing truly reaches a limit that is worth telling."""
    level = run.lamp.ageing_uvi
    since = _last_change(run, day)
    start = level[min(since + 9, len(level) - 1)]
    limits = [BAND.high_uvi] if sign > 0 else [BAND.low_uvi, 0.7 * start]
    per_day = math.log1p(run.lamp.plan.per_week) / 7
    return min(math.log(limit / level[day]) / per_day for limit in limits)


def _crossings(run: Run, sign: int) -> list[int]:
    """Return the days on which a lamp that ages leaves its band, a month or more after it was changed."""
    level = run.lamp.ageing_uvi[: len(run.coverage)]
    out = level > BAND.high_uvi if sign > 0 else level < BAND.low_uvi
    days = np.flatnonzero(out[1:] & ~out[:-1]) + 1
    stepped = run.lamp.plan.steps
    return [
        int(day)
        for day in days
        if day - _last_change(run, int(day)) > 30
        and run.lamp.plan.per_week * sign > 0
        and not any(abs(day - step) < 2 for step in stepped)
    ]


def _judge_steps(run: Run, score: Score) -> None:
    steps = [
        day
        for day, ratio in run.lamp.plan.steps.items()
        if abs(ratio - 1) >= SETTINGS.step_part and day - _last_change(run, day) > 20
    ]
    opened = [_minute(run, event.opened_ms) // 1440 - 1 for event in _of_kind(run, EventKind.LEVEL_STEPPED)]
    for day in opened:
        if any(0 <= day - step <= 25 for step in run.lamp.plan.steps):
            score.right += 1
        else:
            score.false += 1
    for step in steps:
        if step + 25 < len(run.coverage) and not any(
            step < change <= step + 25 for change in run.lamp.changes
        ):
            score.had_to += 1
            late = [day - step for day in opened if 0 <= day - step <= 25]
            score.told += bool(late)


def _judge_forecasts(run: Run, verdict: Verdict) -> None:
    for day, forecast in run.forecasts:
        crossing = _true_crossing(run, day, forecast)
        verdict.forecasts += 1
        latest = math.inf if forecast.latest is None else (forecast.latest - FIRST_DAY).days
        verdict.forecasts_held += (forecast.earliest - FIRST_DAY).days - 1 <= crossing <= latest + 1


def _true_crossing(run: Run, day: int, forecast: Forecast) -> float:
    """Return the day on which the level as the sensor reads it would pass the limit, left to itself."""
    ahead = np.arange(400)
    per_day = math.log1p(run.lamp.plan.per_week) / 7
    season = np.log(run.lamp.level_uvi / run.lamp.ageing_uvi)
    season = np.convolve(season, np.ones(21) / 21, "same")  # without the weather, which a trend averages out
    turn = np.array([season[(day + n) % 365] for n in ahead])
    level = np.log(run.lamp.ageing_uvi[day] * (1 + run.lamp.bias)) + per_day * ahead + turn
    down = forecast.limit in ("low", "due")
    past = level < math.log(forecast.limit_uvi) if down else level > math.log(forecast.limit_uvi)
    return day + float(np.argmax(past)) if past.any() else math.inf


def false_per_spot_month(verdict: Verdict, spots: int, days: int) -> float:
    """Return how many false events there were a spot and month."""
    return sum(score.false for score in verdict.scores.values()) / (spots * days / 30.44)


def median_warning_days(verdicts: Sequence[Score]) -> float:
    """Return the median days of warning before a lamp left its band; NaN without any."""
    warnings = [each for score in verdicts for each in score.warnings_days]
    return float(np.median(warnings)) if warnings else math.nan
