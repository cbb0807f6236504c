"""How a lamp ages: what it was, what it is, where it goes, and when that matters."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from statistics import NormalDist, median

import numpy as np

from calibrate.arrays import FloatArray
from exposure.bands import Band
from exposure.lamp_days import LampDay
from exposure.steps import Step, find_steps
from exposure.theil_sen import Trend, theil_sen, widening_for

BURN_IN_HOURS = 100.0
"""No verdict on ageing before: a lamp's usual seasoning, in which output falls fast (common practice)."""

# The baseline is the median of so many days after the burn-in.
_BASELINE_DAYS = 7
# A trend needs two weeks; older days than eight weeks tell of another rate.
_LEAST_TREND_DAYS = 10
_TREND_WINDOW_DAYS = 56
# Slower than this is steady: a year then changes it by a quarter.
_STEADY_PER_WEEK = 0.005
# A room's seasons move a lamp's output by a few per cent: a slope over weeks may be wrong by this (95 %).
_SEASON_PER_WEEK = 0.003
# Under this part of its baseline a lamp is due even if the band still holds (common practice, no source).
_DUE_PART = 0.7
# Such a day tells how long the lamp usually burns.
_MOSTLY_SEEN = 0.9
# No straight line is believed for longer.
_HORIZON_DAYS = 365
_CONFIDENCE = 0.95


class LampState(StrEnum):
    """What can be said of a lamp."""

    BURNING_IN = "burning_in"
    TOO_FEW_DAYS = "too_few_days"
    STEADY = "steady"
    FADING = "fading"
    RISING = "rising"


@dataclass(frozen=True, slots=True)
class LevelStep:
    """A sudden change of level that is not ageing: a plant, a mesh, dirt, a moved spot or sensor.

    `date` is the new level's first day, `ratio` the new level over the old with its standard uncertainty.
    """

    date: date
    ratio: float
    u_ratio: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the level will pass a limit if it goes on as now.

    `limit` is low, high, ceiling, or due (0.7 of the baseline).  `expected` is the best estimate; it should
    lie between `earliest` and `latest` with 95 % probability; `latest` is None if that may be over a year
    away.
    """

    limit: str
    limit_uvi: float
    expected: date
    earliest: date
    latest: date | None


@dataclass(frozen=True, slots=True)
class LampReport:
    """One lamp since it was installed, or since the keeper last changed something about it.

    `hours_seen` were seen lit; `hours_on` adds what unseen time is likely to have held, by the lamp's usual
    day.  `baseline_uvi` is the level after the burn-in, carried along over steps; `times_claim` is it over
    what the package claims for this place, where the keeper typed that in.  `level_uvi` is what the trend
    says of the last day, `per_week` the relative change a week with its 95 % interval.  `replace_by` is the
    earliest day at which the lamp may be too weak.
    """

    state: LampState
    days: int
    hours_seen: float
    hours_on: float
    switch_ons: int
    baseline_uvi: float | None = None
    times_claim: float | None = None
    level_uvi: float | None = None
    per_week: float | None = None
    per_week_low: float | None = None
    per_week_high: float | None = None
    steps: tuple[LevelStep, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    replace_by: date | None = None


def lamp_report(
    days: Sequence[LampDay],
    band: Band,
    *,
    hours_before: float = 0.0,
    claim_uvi: float | None = None,
    last_part: float = 1.0,
) -> LampReport:
    """Return what a lamp's days say of it.

    Parameters
    ----------
    days
        In order, since the lamp was installed, or since its distance, mesh or bulb was last changed: a change
        is a new beginning.  All derived by one calibration.
    band
        The spot's band [UVI].
    hours_before
        Hours that the lamp had burned before the first of them [h].
    claim_uvi
        What the package claims for this distance, if anything.
    last_part
        How much of the last of the days is over, 0 to 1.

    Notes
    -----
    Ageing is judged on the logarithm of the daily level, by the Theil-Sen trend of the last eight weeks since
    the last step; its interval is widened for days that resemble their neighbours.  Rising is judged like
    fading: it is as bad.  Limits are compared with the level as this spot's sensor reads it.

    The forecast draws the trend on as a straight line; its interval joins that of the slope with that of the
    level, each at its end, and so holds a little more often than it says.
    """
    hours_burned = hours_at_start(days, hours_before, last_part)
    report = LampReport(
        state=LampState.BURNING_IN,
        days=len(days),
        hours_seen=sum(day.hours_on for day in days),
        hours_on=hours_burned[-1],
        switch_ons=sum(day.switch_ons for day in days),
    )
    seasoned = [
        (day.date, day.level_uvi)
        for day, hours in zip(days, hours_burned, strict=False)
        if hours >= BURN_IN_HOURS and day.level_uvi is not None and day.level_uvi > 0
    ]
    if not seasoned:
        return report
    number = np.array([day.toordinal() for day, _ in seasoned], float)
    level = np.array([level_uvi for _, level_uvi in seasoned])
    steps = find_steps(number, level)
    first = steps[-1].index if steps else 0
    recent = (np.arange(len(number)) >= first) & (number > number[-1] - _TREND_WINDOW_DAYS)
    report = replace(
        report,
        state=LampState.TOO_FEW_DAYS,
        steps=tuple(LevelStep(seasoned[step.index][0], step.ratio, step.u_ratio) for step in steps),
    )
    if recent.sum() < _LEAST_TREND_DAYS:
        return report
    baseline_uvi = _baseline_uvi(level, steps)
    trend, u_mid = _trend(number[recent], np.log(level[recent]))
    forecasts = _forecasts(trend, u_mid, number[-1], baseline_uvi, band)
    return replace(
        report,
        state=_state(trend),
        baseline_uvi=baseline_uvi,
        times_claim=baseline_uvi / claim_uvi if claim_uvi else None,
        level_uvi=math.exp(trend.at(number[-1])),
        per_week=math.expm1(7 * trend.slope),
        per_week_low=math.expm1(7 * trend.low),
        per_week_high=math.expm1(7 * trend.high),
        forecasts=forecasts,
        replace_by=min((each.earliest for each in forecasts if each.limit in ("low", "due")), default=None),
    )


def hours_at_start(days: Sequence[LampDay], hours_before: float, last_part: float = 1.0) -> list[float]:
    """Return the hours burned at the start of each day, and by now; unseen time by the usual day."""
    whole = [day.hours_on / day.coverage for day in days if day.coverage > _MOSTLY_SEEN]
    usual = median(whole) if whole else 0.0
    hours = [hours_before]
    for number, day in enumerate(days):
        if number:
            hours[-1] += usual * ((day.date - days[number - 1].date).days - 1)
        part = last_part if day is days[-1] else 1.0
        hours.append(hours[-1] + day.hours_on + usual * max(0.0, part - day.coverage))
    return hours


def _baseline_uvi(level: FloatArray, steps: Sequence[Step]) -> float:
    """Return the level after the burn-in, as it would be after all steps since."""
    begin = max((step.index for step in steps if step.index < _BASELINE_DAYS), default=0)
    ratio = math.prod(step.ratio for step in steps if step.index > begin)
    end = min((step.index for step in steps if step.index > begin), default=len(level))
    carried_uvi = float(np.median(level[begin : min(end, begin + _BASELINE_DAYS)])) * ratio
    weeks = np.lib.stride_tricks.sliding_window_view(level, min(_BASELINE_DAYS, len(level)))
    # A plant that grows over the lamp and is trimmed is a slow fall and a step up: no more than ever was.
    return min(carried_uvi, float(np.median(weeks, axis=1).max()))


def _trend(number: FloatArray, log_level: FloatArray) -> tuple[Trend, float]:
    """Return the trend of the logarithm by the day, and the standard uncertainty of its middle."""
    plain = theil_sen(number, log_level, _CONFIDENCE)
    residuals = log_level - (plain.y_mid + plain.slope * (number - plain.x_mid))
    widening = widening_for(residuals)
    scatter = 1.4826 * float(np.median(np.abs(residuals - np.median(residuals))))
    u_mid = widening * math.sqrt(math.pi / 2) * scatter / math.sqrt(len(number))  # of a median
    trend = theil_sen(number, log_level, _CONFIDENCE, widening)
    down, up = (math.hypot(side - trend.slope, _SEASON_PER_WEEK / 7) for side in (trend.low, trend.high))
    return replace(trend, low=trend.slope - down, high=trend.slope + up), u_mid


def _state(trend: Trend) -> LampState:
    steady = math.log1p(_STEADY_PER_WEEK) / 7
    if trend.low > steady:
        return LampState.RISING
    return LampState.FADING if trend.high < -steady else LampState.STEADY


def _forecasts(
    trend: Trend, u_mid: float, today: float, baseline_uvi: float, band: Band
) -> tuple[Forecast, ...]:
    """Return when the level passes each limit that it moves towards; nothing if it may stand still."""
    if trend.low <= 0 <= trend.high:
        return ()
    if trend.slope > 0:
        limits = {"high": band.high_uvi, "ceiling": band.ceiling_uvi}
    else:
        limits = {"low": band.low_uvi, "due": _DUE_PART * baseline_uvi}
    steep, shallow = (trend.high, trend.low) if trend.slope > 0 else (trend.low, trend.high)
    sign = math.copysign(1.0, trend.slope)
    reach = sign * NormalDist().inv_cdf((1 + _CONFIDENCE) / 2) * u_mid
    forecasts = []
    for limit, limit_uvi in limits.items():
        if limit_uvi <= 0:
            continue
        way = math.log(limit_uvi) - trend.y_mid
        at, earliest, latest = (
            max(today, trend.x_mid + part / slope)
            for part, slope in ((way, trend.slope), (way - reach, steep), (way + reach, shallow))
        )
        if at - today <= _HORIZON_DAYS:
            forecasts.append(
                Forecast(
                    limit,
                    limit_uvi,
                    expected=_date(at),
                    earliest=_date(earliest),
                    latest=_date(latest) if latest - today <= _HORIZON_DAYS else None,
                )
            )
    return tuple(forecasts)


def _date(number: float) -> date:
    return date.fromordinal(round(number))
