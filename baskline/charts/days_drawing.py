"""What the chart of a spot's last days shows, gathered from their records, and said in words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from baskline.charts.dates import date_span, day_label
from baskline.measured_words import measured
from exposure.profile import DayProfile
from exposure.usual import USUAL_DAYS, Usual, day_figures, usual_of
from ingest.day_records import DayRecord

SEEN_WHOLE: Final = 0.99
"""A quarter of an hour less than all is all."""

_K: Final = 2.0
# More days than these are told together to who cannot see them.
_TOLD_DAY_BY_DAY: Final = 10


@dataclass(frozen=True, slots=True)
class DaysDrawing:
    """What the chart shows: the days from `first` to `last`, of which those that were seen have a profile.

    `usual` is the dose of the 30 days before; `today` is the one of the days that is not over yet.
    """

    label: str
    first: date
    last: date
    profiles: Sequence[DayProfile]
    usual: Usual | None
    today: date | None = None

    @property
    def n_days(self) -> int:
        """How many days the chart has room for."""
        return (self.last - self.first).days + 1

    @property
    def seen(self) -> list[DayProfile]:
        """The days with a dose."""
        return [profile for profile in self.profiles if profile.dose_uvi_h is not None]

    @property
    def usual_range(self) -> tuple[float, float] | None:
        """Between which doses nineteen of twenty days lie [UVI·h]; as wide as it can be printed, at least."""
        if self.usual is None:
            return None
        half = max(_K * self.usual.scatter, 0.5)
        return max(self.usual.median - half, 0.0), self.usual.median + half

    @property
    def usual_words(self) -> str:
        """The same in words, '' if nothing is usual."""
        return "{:.0f} to {:.0f}".format(*self.usual_range) if self.usual_range else ""

    @property
    def title(self) -> str:
        """The spot and the days."""
        return f"{self.label}, {date_span(self.first, self.last)}"

    def summary(self) -> Iterator[str]:
        """Yield what is to be said of the days together."""
        doses = [profile.dose_uvi_h for profile in self.seen if profile.dose_uvi_h is not None]
        if not doses:
            yield "no UVI on any of these days"
            return
        yield f"dose {min(doses):.1f} to {max(doses):.1f} UVI·h a day"
        if self.usual_range is not None:
            yield f"usual {self.usual_words} (the {USUAL_DAYS} days before)"
        over = sum(profile.hours_above_ceiling or 0 for profile in self.seen)
        if over >= 0.05:
            yield f"{over:.1f} h over the ceiling"

    def caption(self) -> Iterator[str]:
        """Yield what the signs on the chart mean."""
        if self.seen:
            bands = {(p.band.low_uvi, p.band.high_uvi, p.band.ceiling_uvi) for p in self.seen}
            low, high, ceiling = bands.pop()
            yield "band changed meanwhile" if bands else f"band {low:g} to {high:g}, ceiling {ceiling:g}"
            yield "thin lines: ± (k = 2, about 95 %)"
            yield "over the ceiling is part of above"
        whole = [p.bounds.date for p in self.seen if p.coverage >= SEEN_WHOLE or p.bounds.date == self.today]
        if len({*whole, *([self.today] if self.today else [])}) < self.n_days:
            yield "hatched: that part of the day was not seen"

    def description(self) -> str:
        """Return what the chart shows, for whoever cannot see it."""
        if self.n_days > _TOLD_DAY_BY_DAY:
            return f"{self.title}. {'; '.join(self.summary())}."
        profiles = {profile.bounds.date: profile for profile in self.seen}
        days = [self.first + timedelta(days=n) for n in range(self.n_days)]
        told = [f"{day_label(day)}: {_in_words(profiles.get(day))}" for day in days]
        return f"{self.title}. {'; '.join(told)}."


def days_drawing(
    label: str, records: Sequence[DayRecord], last: date, *, days: int = 7, today: date | None = None
) -> DaysDrawing:
    """Gather the `days` up to `last` from a spot's records, which may begin 30 days earlier."""
    first = last - timedelta(days=days - 1)
    before = [r for r in records if first - timedelta(days=USUAL_DAYS) <= r.date < first]
    return DaysDrawing(
        label,
        first,
        last,
        [record.profile for record in records if first <= record.date <= last],
        usual_of([day_figures(record.profile)["dose_uvi_h"] for record in before]),
        today if today is not None and first <= today <= last else None,
    )


def _in_words(profile: DayProfile | None) -> str:
    if profile is None:
        return "not known"
    return (
        f"dose {measured(profile.dose_uvi_h, profile.u_dose_uvi_h, 'UVI·h')},"
        f" {profile.hours_in_band or 0:.1f} h in band, {profile.hours_below_band or 0:.1f} below,"
        f" {profile.hours_above_band or 0:.1f} above,"
        f" {profile.hours_above_ceiling or 0:.1f} over the ceiling"
    )
