"""Each lamp as its spots have seen it since it was hung or last changed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from exposure.days import DayBounds, day_bounds
from exposure.lamp_days import LampDay
from exposure.lamps import LampReport, lamp_report
from ingest.config import Config
from ingest.config.places import LampConfig
from ingest.day_records import DayRecords
from ingest.store.lamp_changes import ChangeMoment, LampChange, LampChangeKind, SeenBefore
from ingest.store.store import Store

_MOSTLY_SEEN = 0.9
# A package's claim is for a distance; at another one it says nothing.
_SAME_DISTANCE_PART = 0.01


@dataclass(frozen=True, slots=True)
class Since:
    """Since when something is so: a local day, and the moment on it where that is known."""

    day: date
    moment: ChangeMoment | None = None


@dataclass(frozen=True, slots=True)
class LampView:
    """A lamp as one of its spots has seen it.

    `since` is the day on which its present baseline begins; `hours_before` is for how long it had burned by
    the first of `days`, as far as that can be told; `changes` are those that count, in order.

    Where the moment of a change is known, the hours are counted from it on, and `days` begin with the first
    whole day after it: what the lamp had burned by then on that day is neither its hours nor its level.
    """

    lamp: str
    spot: str
    since: date
    hours_before: float
    changes: tuple[LampChange, ...]
    days: tuple[LampDay, ...]
    report: LampReport


def lamp_views(store: Store, config: Config, until: date) -> list[LampView]:
    """Return each lamp by each spot that it lights, up to the day `until`, in the configuration's order."""
    records = DayRecords(store, config)
    return [
        lamp_view(store, config, records, lamp, spot, until)
        for lamp in config.lamps
        for spot, configured in config.spots.items()
        if configured.lamp == lamp
    ]


def lamp_view(
    store: Store, config: Config, records: DayRecords, lamp: str, spot: str, until: date
) -> LampView:
    """Return a lamp as `spot` has seen it up to the day `until`."""
    changes = _changes(store, lamp, until)
    hung, since = hung_since(config, lamp, changes), now_since(config, lamp, changes)
    seen = records.lamps(spot, hung.day, until)
    first = since.day + timedelta(days=1) if _burned_before(since, spot) else since.day
    calibration = seen[-1].calibration if seen else ""
    days = tuple(each.day for each in seen if each.day.date >= first and each.calibration == calibration)
    so_far = _part_over(store, spot, day_bounds(until, config.bridge.time_zone))
    hours_before = _hours_before(
        [(each.day, so_far if each.day.date == until else 1.0) for each in seen],
        hung,
        days[0].date if days else max(first, until),
        spot,
        config.bridge.time_zone,
    )
    report = lamp_report(
        days,
        config.spots[spot].band(),
        hours_before=hours_before,
        claim_uvi=_claim_uvi(config.lamps[lamp]),
        last_part=so_far if days and days[-1].date == until else 1.0,
    )
    return LampView(lamp, spot, since.day, hours_before, changes, days, report)


def hung_on(store: Store, config: Config, lamp: str, until: date) -> date:
    """Return the day on which the lamp was put in that hung on the day `until`."""
    return hung_since(config, lamp, _changes(store, lamp, until)).day


def hung_since(config: Config, lamp: str, changes: Iterable[LampChange]) -> Since:
    """Return since when the lamp is in that hangs after these changes, as far as is known."""
    return now_since(config, lamp, [each for each in changes if each.what is LampChangeKind.LAMP])


def now_since(config: Config, lamp: str, changes: Iterable[LampChange]) -> Since:
    """Return since when a lamp is as it is after these changes, in order, as far as is known."""
    installed = config.lamps[lamp].installed
    counted = [each for each in changes if not each.withdrawn and each.day >= installed]
    return Since(counted[-1].day, counted[-1].moment) if counted else Since(installed)


def _changes(store: Store, lamp: str, until: date) -> tuple[LampChange, ...]:
    return tuple(each for each in store.lamp_changes.of(lamp) if not each.withdrawn and each.day <= until)


def _burned_before(since: Since, spot: str) -> bool:
    """Return whether the lamp has, or may have, burned on that day before."""
    if since.moment is None:
        return False
    before = since.moment.before.get(spot)
    return before is None or before.hours_on > 0 or before.coverage <= _MOSTLY_SEEN


def _part_over(store: Store, spot: str, day: DayBounds) -> float:
    """Return how much of a day is over, 0 to 1: as far as its newest reading if it was not judged yet."""
    through_ms, newest_ms = store.judged.through(spot), store.readings.last_utc_ms_any()
    if newest_ms is None or newest_ms >= day.end_ms or (through_ms is not None and through_ms >= day.end_ms):
        return 1.0
    return max(0.0, (newest_ms - day.start_ms) / (day.end_ms - day.start_ms))


def _hours_before(
    seen: list[tuple[LampDay, float]], hung: Since, first: date, spot: str, time_zone: str
) -> float:
    """Return for how long a lamp burned from when it was hung to before `first`: unseen time as usual.

    `seen` has days, each with how much of it is over.
    """
    whole = [day.hours_on / day.coverage for day, _ in seen if day.coverage > _MOSTLY_SEEN]
    usual = median(whole) if whole else 0.0
    before = [(day, part) for day, part in seen if day.date < first]
    unseen_days = (first - hung.day).days - len(before)
    hours = usual * unseen_days
    hours += sum(day.hours_on + usual * max(0.0, part - day.coverage) for day, part in before)
    if hung.moment is None or first <= hung.day:
        return hours
    by_then = hung.moment.before.get(spot, SeenBefore(0.0, 0.0))
    bounds = day_bounds(hung.day, time_zone)
    share = (hung.moment.at_ms - bounds.start_ms) / (bounds.end_ms - bounds.start_ms)
    return max(0.0, hours - by_then.hours_on - usual * share * (1 - by_then.coverage))


def _claim_uvi(lamp: LampConfig) -> float | None:
    """Return what the package claims for the distance at which the lamp hangs."""
    at_cm = lamp.package_claim_at_cm
    if lamp.package_claim_uvi is None or at_cm is None:
        return None
    same = abs(at_cm - lamp.distance_cm) <= _SAME_DISTANCE_PART * lamp.distance_cm
    return lamp.package_claim_uvi if same else None
