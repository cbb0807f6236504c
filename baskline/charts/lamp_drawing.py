"""What the chart of a lamp shows, gathered from its days and the report on them, and said in words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from baskline.charts.dates import day_label
from baskline.lamp_words import rate_words
from baskline.measured_words import signed
from exposure.bands import Band
from exposure.lamp_days import LampDay
from exposure.lamps import BURN_IN_HOURS, Forecast, LampReport, LampState, hours_at_start
from exposure.wording import uvi_text
from ingest.config import Config
from ingest.lamp_views import LampView
from ingest.store.lamp_changes import LampChangeKind

_K: Final = 2.0
# What is to come takes at most so much of the width: what was seen is the evidence.
_AHEAD_PART: Final = 0.6
_LEAST_AHEAD_DAYS: Final = 28
# An axis begins over zero where it would else spend more than this part of itself on nothing.
_EMPTY_PART: Final = 0.35
_HEADROOM: Final = 0.12
# What was seen begins late if it begins so long after the lamp was hung.
_LATE_DAYS: Final = 7
_STATE_WORDS: Final = {
    LampState.BURNING_IN: "burning in: no verdict yet",
    LampState.TOO_FEW_DAYS: "too few days for a trend",
    LampState.STEADY: "steady",
    LampState.FADING: "fading",
    LampState.RISING: "rising",
}
_CHANGE_WORDS: Final = {
    LampChangeKind.LAMP: "new lamp",
    LampChangeKind.DISTANCE: "other distance",
    LampChangeKind.MESH: "other mesh",
    LampChangeKind.PLACE: "moved",
    LampChangeKind.OTHER: "changed",
}
_LIMIT_WORDS: Final = {
    "low": "leaves the band downwards",
    "high": "leaves the band upwards",
    "ceiling": "passes the ceiling",
    "due": "comes down to 0.7 of its baseline",
}

_PAST_WORDS: Final = {
    "low": "is below the band",
    "high": "is above the band",
    "ceiling": "is over the ceiling",
    "due": "is under 0.7 of its baseline",
}


@dataclass(frozen=True, slots=True)
class LampDrawing:
    """What the chart of a lamp shows; `began` says what its first day began with."""

    title: str
    since: date
    began: str
    until: date
    days: Sequence[LampDay]
    hours_before: float
    band: Band
    report: LampReport

    @property
    def levels(self) -> list[tuple[date, float, float]]:
        """Each day's level and the half width of its interval (k = 2) [UVI]."""
        return [
            (day.date, day.level_uvi, _K * (day.u_level_uvi or 0.0))
            for day in self.days
            if day.level_uvi is not None
        ]

    @property
    def first(self) -> date:
        """Where the axis begins: with the lamp, or with what was seen if that was long after."""
        first = min([self.since, *(day.date for day in self.days[:1])])
        if self.levels and (self.levels[0][0] - first).days > _LATE_DAYS:
            return self.levels[0][0] - timedelta(days=1)
        return first

    @property
    def last(self) -> date:
        """The last day with a level."""
        return self.levels[-1][0] if self.levels else self.until

    @property
    def end(self) -> date:
        """Where the axis ends: with the forecast's latest, as far as that leaves the past its room."""
        seen = max((self.last - self.first).days, 7)
        forecast = self.forecast
        if forecast is None:
            ahead = _LEAST_AHEAD_DAYS if self.report.per_week is not None else 3
        else:
            ahead = ((forecast.latest or forecast.expected) - self.last).days + 7
        most = max(seen * _AHEAD_PART / (1 - _AHEAD_PART), _LEAST_AHEAD_DAYS)
        return self.last + timedelta(days=round(min(ahead, most)))

    @property
    def forecast(self) -> Forecast | None:
        """What comes first if it goes on like this."""
        return min(self.report.forecasts, key=lambda each: each.expected, default=None)

    def has_passed(self, forecast: Forecast) -> bool:
        """Return whether the level is beyond a forecast's limit already."""
        level_uvi, per_week = self.report.level_uvi, self.report.per_week
        if level_uvi is None or per_week is None:
            return False
        return (forecast.limit_uvi - level_uvi) * per_week <= 0

    def forecast_phrases(self, forecast: Forecast) -> list[str]:
        """Return what will happen, when, and between which days; or that it has happened."""
        if self.has_passed(forecast):
            return [_PAST_WORDS[forecast.limit]]
        day = forecast.expected
        end = f"to {_day_in(day.year, forecast.latest)}" if forecast.latest else "or much later"
        return [
            _LIMIT_WORDS[forecast.limit],
            f"about {day_label(day)} {day.year}",
            f"({_day_in(day.year, forecast.earliest)} {end})",
        ]

    @property
    def seasoned(self) -> date:
        """The first day after the burn-in; the last day if there is none yet."""
        n_burning = len(self.burning_in)
        return self.days[n_burning].date if n_burning < len(self.days) else self.last

    @property
    def burning_in(self) -> list[date]:
        """The days, in order, at whose start it had not burned its first hundred hours."""
        hours = hours_at_start(self.days, self.hours_before)
        return [day.date for day, burned in zip(self.days, hours, strict=False) if burned < BURN_IN_HOURS]

    @property
    def range_uvi(self) -> tuple[float, float]:
        """The ends of the axis: not from zero where that would hide what the chart is about."""
        limits = [self.band.high_uvi, self.band.low_uvi]
        if self.forecast is not None:
            limits.append(self.forecast.limit_uvi)
        if self.report.baseline_uvi is not None:
            limits.append(self.report.baseline_uvi)
        top = max([*(level + half for _, level, half in self.levels), *limits, 0.1])
        bottom = min([*(level - half for _, level, half in self.levels), *limits, top])
        room = _HEADROOM * (top - bottom)
        return (max(bottom - room, 0.0) if bottom > _EMPTY_PART * top else 0.0), top + room

    @property
    def happened(self) -> list[tuple[date, str, str]]:
        """What happened to it: the day, words, and how it is drawn, as in `lanes`."""
        events = []
        if self.since >= self.first:
            events.append((self.since, f"{self.began} {day_label(self.since)}", "today"))
        for step in self.report.steps:
            change = f"{signed(100 * (step.ratio - 1), '+.0f')} %"
            events.append((step.date, f"a step of {change} on {day_label(step.date)}", "now"))
        return events

    def summary(self) -> Iterator[str]:
        """Yield what is to be said of the lamp, phrase by phrase."""
        report = self.report
        state = _STATE_WORDS[report.state]
        if not self.levels:
            yield "no level known yet"
            return
        if report.per_week is None:
            yield state
        else:
            yield f"{state}: {rate_words(report)}"
        if report.level_uvi is not None and self.levels:
            half = self.levels[-1][2]
            yield f"level {uvi_text(report.level_uvi, half / _K, _K, at_least=False)}"
        yield f"{report.hours_on:.0f} h on"
        if report.times_claim is not None:
            yield f"{report.times_claim:.1f} times the package's claim"
        if report.replace_by is not None:
            yield f"replace by {report.replace_by.day} {report.replace_by:%B %Y}"

    def caption(self) -> Iterator[str]:
        """Yield what the signs on the chart mean."""
        report = self.report
        if not self.levels:
            yield "hatched: the spot has no UVI, or its lamp was never seen warm"
            return
        yield "dots: level of each day, lamp warm"
        yield "shading: ± (k = 2, about 95 %)"
        if report.per_week is not None:
            yield "line: trend"
            yield "dashed: if it goes on like this, with its 95 % interval"
        if self.hours_before >= BURN_IN_HOURS:
            yield f"it had burned {self.hours_before:.0f} h before this record"
        if self.range_uvi[0] > 0:
            yield f"the axis begins at UVI {self.range_uvi[0]:.1f}"

    def description(self) -> str:
        """Return what the chart shows, for whoever cannot see it."""
        band = self.band
        told = [f"{self.title}: {'; '.join(self.summary())}"]
        told.append(f"Band {band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}")
        told += [words for _, words, _ in self.happened]
        told += [" ".join(self.forecast_phrases(each)) for each in self.report.forecasts]
        return f"{'. '.join(told)}."


def lamp_drawing(view: LampView, config: Config, until: date) -> LampDrawing:
    """Gather what the chart of a lamp shows up to the day `until`."""
    kinds = [_CHANGE_WORDS[change.what] for change in view.changes if change.day == view.since]
    return LampDrawing(
        title=f"{config.lamp_name(view.lamp)} seen from {config.spots[view.spot].label}",
        since=view.since,
        began=kinds[-1] if kinds else "lamp hung",
        until=until,
        days=view.days,
        hours_before=view.hours_before,
        band=config.spots[view.spot].band(),
        report=view.report,
    )


def _day_in(year: int, day: date) -> str:
    return day_label(day) if day.year == year else f"{day_label(day)} {day.year}"
