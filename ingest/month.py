"""A month out of the store: what each spot received, how surely, and what was done about it."""

import calendar
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from calibrate.calibration import Calibration
from calibrate.calibration_file import parse_calibration
from exposure.days import day_bounds, local_date
from exposure.events import Event
from exposure.gradient import Gradient
from exposure.usual import LEAST_COVERAGE, Usual, usual_of
from ingest.checking import Series, series_of
from ingest.config import Config
from ingest.day_records import DayRecords
from ingest.lamp_views import LampView, hung_on, lamp_view
from ingest.store.checks import CheckRecord
from ingest.store.lamp_changes import LampChange
from ingest.store.store import Store
from ingest.week import SpotDays, events_of, gradients, spot_days, spots_of

# A shorter silence is a restart of the board, and hides nothing of a day.
LEAST_UNSEEN_MS: Final = 15 * 60_000
# A day's last sample may be as long before midnight as samples lie apart.
_JOINED_MS: Final = 5 * 60_000
# What is printed as 0.0 h is none.
_LEAST_OVER_HOURS: Final = 0.05

Progress = Callable[[str], None]
"""Is told what is being looked at now."""


@dataclass(frozen=True, slots=True)
class Unseen:
    """A time from which no UVI is known, UTC milliseconds."""

    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class UsedCalibration:
    """A calibration that applied to a spot from the day `first` to `last`; None where there was none."""

    first: date
    last: date
    calibration: Calibration | None


@dataclass(frozen=True, slots=True)
class SpotMonth:
    """What is known of a spot's month.

    `coverage` is the part of the time up to the newest reading of all that was seen with a value, 0 to 1;
    `whole_days` are those of which nine tenths were seen, and `seen_days` those with any value.
    `dose_uvi_h` and `mean_uvi` (while lit) are what was usual on whole days, with their usual standard
    uncertainty; `total_hours` holds lit time by the names of `DayProfile`.  `checks` are the month's that
    count, `last_check` is the last one up to its end, and `series` all of the present calibration up to then.
    """

    days: SpotDays
    coverage: float
    whole_days: int
    seen_days: int
    unseen: tuple[Unseen, ...]
    dose_uvi_h: Usual | None
    u_dose_uvi_h: float | None
    least_dose_uvi_h: float | None
    most_dose_uvi_h: float | None
    mean_uvi: Usual | None
    u_mean_uvi: float | None
    total_hours: Mapping[str, float]
    days_over_ceiling: int
    calibrations: tuple[UsedCalibration, ...]
    checks: tuple[CheckRecord, ...]
    last_check: CheckRecord | None
    series: Series

    @property
    def spot(self) -> str:
        """The spot's key."""
        return self.days.spot


@dataclass(frozen=True, slots=True)
class EnclosureMonth:
    """An enclosure's spots, how they differed, and what happened to them and their boards."""

    enclosure: str
    spots: tuple[SpotMonth, ...]
    gradients: Mapping[date, Gradient]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class LampMonth:
    """A lamp at the end of the month: since when it hung, and by each of its spots, at least one."""

    lamp: str
    hung: date
    views: tuple[LampView, ...]

    @property
    def changes(self) -> tuple[LampChange, ...]:
        """All changes of it until then that count."""
        return self.views[0].changes


@dataclass(frozen=True, slots=True)
class Month:
    """The days from `first` to `last`: to the month's end, or to the newest reading's day before it.

    `newest_ms` is when the newest reading of all was taken, at most the end of `last`.
    """

    first: date
    last: date
    end: date
    newest_ms: int
    enclosures: tuple[EnclosureMonth, ...]
    lamps: tuple[LampMonth, ...]

    @property
    def is_whole(self) -> bool:
        """Whether there are readings up to the month's last day."""
        return self.last == self.end


def month_of(
    store: Store, config: Config, first: date, enclosures: Sequence[str], progress: Progress
) -> Month | None:
    """Return the month that begins with `first`, of these enclosures; None if no reading is of it yet."""
    time_zone = config.bridge.time_zone
    newest_ms = store.readings.last_utc_ms_any()
    if newest_ms is None or newest_ms < day_bounds(first, time_zone).start_ms:
        return None
    end = first.replace(day=calendar.monthrange(first.year, first.month)[1])
    last = min(end, local_date(newest_ms, time_zone))
    newest_ms = min(newest_ms, day_bounds(last, time_zone).end_ms)
    records = DayRecords(store, config)
    found = []
    for enclosure in enclosures:
        spots = []
        for spot in spots_of(config, enclosure):
            progress(config.spots[spot].label)
            spots.append(_spot_month(store, config, records, spot, first, last, newest_ms))
        if spots:
            found.append(
                EnclosureMonth(
                    enclosure,
                    tuple(spots),
                    gradients([spot.days for spot in spots]),
                    events_of(store, config, [spot.spot for spot in spots], first, last),
                )
            )
    watched = [spot.spot for each in found for spot in each.spots]
    lamps = []
    for lamp in config.lamps:
        lit = [spot for spot in watched if config.spots[spot].lamp == lamp]
        if lit:
            progress(lamp)
            lamps.append(
                LampMonth(
                    lamp,
                    hung_on(store, config, lamp, last),
                    tuple(lamp_view(store, config, records, lamp, spot, last) for spot in lit),
                )
            )
    return Month(first, last, end, newest_ms, tuple(found), tuple(lamps))


def _spot_month(
    store: Store, config: Config, records: DayRecords, spot: str, first: date, last: date, newest_ms: int
) -> SpotMonth:
    days = spot_days(records, config, spot, first, last)
    time_zone = config.bridge.time_zone
    start_ms, end_ms = day_bounds(first, time_zone).start_ms, day_bounds(last, time_zone).end_ms
    profiles = [day.profile for day in days.days if day.profile is not None]
    seen = [profile for profile in profiles if profile.dose_uvi_h is not None]
    whole = [profile for profile in seen if profile.coverage >= LEAST_COVERAGE]
    doses = [profile.dose_uvi_h for profile in whole if profile.dose_uvi_h is not None]
    seen_ms = sum(
        profile.coverage * (profile.bounds.end_ms - profile.bounds.start_ms) for profile in profiles
    )
    calibrations = _calibrations(store, spot, start_ms, end_ms, time_zone)
    checks = [check for check in store.checks.of(spot) if not check.withdrawn and check.at_ms < end_ms]
    present = calibrations[-1].calibration if calibrations else None
    return SpotMonth(
        days=days,
        coverage=min(1.0, seen_ms / max(1, newest_ms - start_ms)),
        whole_days=len(whole),
        seen_days=len(seen),
        unseen=_unseen(days, time_zone, newest_ms),
        dose_uvi_h=usual_of(doses),
        u_dose_uvi_h=_median([profile.u_dose_uvi_h for profile in whole]),
        least_dose_uvi_h=min(doses, default=None),
        most_dose_uvi_h=max(doses, default=None),
        mean_uvi=usual_of([profile.mean_uvi_lit for profile in whole]),
        u_mean_uvi=_median([profile.u_mean_uvi_lit for profile in whole]),
        total_hours={
            name: sum(getattr(profile, name) or 0.0 for profile in seen)
            for name in (
                "lit_hours",
                "hours_below_band",
                "hours_in_band",
                "hours_above_band",
                "hours_above_ceiling",
            )
        },
        days_over_ceiling=sum((profile.hours_above_ceiling or 0.0) >= _LEAST_OVER_HOURS for profile in seen),
        calibrations=calibrations,
        checks=tuple(check for check in checks if check.at_ms >= start_ms),
        last_check=checks[-1] if checks else None,
        series=series_of(checks, "" if present is None else present.identity),
    )


def _median(values: Sequence[float | None]) -> float | None:
    usual = usual_of(values)
    return None if usual is None else usual.median


def _unseen(days: SpotDays, time_zone: str, newest_ms: int) -> tuple[Unseen, ...]:
    """Return the times without a UVI up to the newest reading of all, joined over midnight."""
    spans: list[tuple[int, int]] = []
    for day in days.days:
        bounds = day_bounds(day.date, time_zone)
        gaps = (
            [(bounds.start_ms, bounds.end_ms)]
            if day.profile is None
            else [(gap.start_ms, gap.end_ms) for gap in day.profile.gaps]
        )
        for start_ms, end_ms in gaps:
            end_ms = min(end_ms, newest_ms)
            if spans and start_ms - spans[-1][1] <= _JOINED_MS:
                spans[-1] = (spans[-1][0], max(spans[-1][1], end_ms))
            else:
                spans.append((start_ms, end_ms))
    return tuple(Unseen(start, end) for start, end in spans if end - start >= LEAST_UNSEEN_MS)


def _calibrations(
    store: Store, spot: str, start_ms: int, end_ms: int, time_zone: str
) -> tuple[UsedCalibration, ...]:
    """Return the calibrations that applied, in order of time."""
    used: list[tuple[str, int, int]] = []
    for span in store.assignments.timeline(spot, start_ms, end_ms):
        identity = span.assignment.calibration
        if used and used[-1][0] == identity:
            used[-1] = (identity, used[-1][1], span.to_ms)
        else:
            used.append((identity, span.from_ms, span.to_ms))
    found = []
    for identity, from_ms, to_ms in used:
        text = store.calibrations.get(identity) if identity else None
        calibration = None if text is None else parse_calibration(text, where=f"calibration {identity}")
        first, last = local_date(from_ms, time_zone), local_date(to_ms - 1, time_zone)
        found.append(UsedCalibration(first, last, calibration))
    return tuple(found)
