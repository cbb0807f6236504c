"""Seven days of an enclosure's spots out of the store, beside the days before them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from exposure.bands import Band
from exposure.days import day_bounds, local_date
from exposure.events import Event
from exposure.gradient import Gradient, gradient
from exposure.profile import DayProfile
from exposure.usual import USUAL_DAYS, WEEK_DAYS, Compared, compare_day, day_figures, usual_of
from ingest.config import Config
from ingest.day_records import DayRecord, DayRecords
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class ComparedDay:
    """One day of a spot; `record` None if nothing of it was seen.

    `compared` has the day's figures, by the names of `exposure.usual.day_figures`, beside the 7 and the 30
    days before it; it is empty without a record.
    """

    date: date
    record: DayRecord | None
    compared: Mapping[str, Compared]

    @property
    def profile(self) -> DayProfile | None:
        """The day's profile."""
        return None if self.record is None else self.record.profile


@dataclass(frozen=True, slots=True)
class SpotDays:
    """A spot's days, and the medians of their figures beside those of the 7 and 30 days before the first."""

    spot: str
    band: Band
    days: tuple[ComparedDay, ...]
    compared: Mapping[str, Compared]

    @property
    def has_readings(self) -> bool:
        """Whether there is a reading of any of the days, with a value or without."""
        return any(day.record is not None for day in self.days)


@dataclass(frozen=True, slots=True)
class EnclosureWeek:
    """An enclosure's spots, how they differed on each day, and what happened to them and their boards."""

    enclosure: str
    spots: tuple[SpotDays, ...]
    gradients: Mapping[date, Gradient]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Week:
    """The days from `first` to `last`, both included."""

    first: date
    last: date
    enclosures: tuple[EnclosureWeek, ...]


def week(store: Store, config: Config, last: date, enclosures: Sequence[str]) -> Week:
    """Return the seven days up to `last` of these enclosures, of those that have spots."""
    first = last - timedelta(days=WEEK_DAYS - 1)
    records = DayRecords(store, config)
    found = []
    for enclosure in enclosures:
        spots = tuple(spot_days(records, config, spot, first, last) for spot in spots_of(config, enclosure))
        if spots:
            events = events_of(store, config, [each.spot for each in spots], first, last)
            found.append(EnclosureWeek(enclosure, spots, gradients(spots), events))
    return Week(first, last, tuple(found))


def spots_of(config: Config, enclosure: str) -> list[str]:
    """Return an enclosure's spots in the configuration's order."""
    return [spot for spot, configured in config.spots.items() if configured.enclosure == enclosure]


def spot_days(records: DayRecords, config: Config, spot: str, first: date, last: date) -> SpotDays:
    """Return a spot's days from `first` to `last`, each beside the days before it."""
    known = {record.date: record for record in records.of(spot, first - timedelta(days=USUAL_DAYS), last)}
    figures = {day: day_figures(record.profile, record.lamp) for day, record in known.items()}
    days = []
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        compared = compare_day(day, figures[day], figures) if day in figures else {}
        days.append(ComparedDay(day, known.get(day), compared))
    seen = [each.record for each in days if each.record is not None]
    return SpotDays(
        spot,
        seen[-1].profile.band if seen else config.spots[spot].band(),
        tuple(days),
        _compared(figures, first, last),
    )


def _compared(
    figures: Mapping[date, Mapping[str, float | None]], first: date, last: date
) -> dict[str, Compared]:
    """Return the median of each figure over the days, beside what was usual before them."""
    these = [figures[day] for day in figures if first <= day <= last]
    names = next(iter(figures.values()), {})
    medians = {}
    for name in names:
        usual = usual_of([each[name] for each in these])
        medians[name] = None if usual is None else usual.median
    return compare_day(first, medians, figures)


def gradients(spots: Sequence[SpotDays]) -> dict[date, Gradient]:
    """Return how an enclosure's spots differed, on each day on which more than nothing can be told."""
    found = {}
    for days in zip(*(each.days for each in spots), strict=True):
        profiles = {
            each.spot: day.record.profile
            for each, day in zip(spots, days, strict=True)
            if day.record is not None
        }
        seen = gradient(profiles)
        if seen.spots:
            found[days[0].date] = seen
    return found


def events_of(
    store: Store, config: Config, spots: Sequence[str], first: date, last: date
) -> tuple[Event, ...]:
    """Return what was open in these days at these spots or their boards, oldest first."""
    time_zone = config.bridge.time_zone
    boards = {config.boards[config.spots[spot].board].identity for spot in spots}
    subjects = {"spot": set(spots), "board": boards}
    return tuple(
        event
        for event in store.events.between(
            day_bounds(first, time_zone).start_ms, day_bounds(last, time_zone).end_ms
        )
        if event.subject in subjects[event.subject_kind]
    )


def newest_day(store: Store, config: Config) -> date | None:
    """Return the local day of the newest reading of all; None if there is none."""
    newest_ms = store.readings.last_utc_ms_any()
    return None if newest_ms is None else local_date(newest_ms, config.bridge.time_zone)
