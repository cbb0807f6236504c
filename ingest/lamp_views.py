"""Each lamp as its spots have seen it since it was hung or last changed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from statistics import median

from exposure.lamp_days import LampDay
from exposure.lamps import LampReport, lamp_report
from ingest.config import Config
from ingest.config.places import LampConfig
from ingest.day_records import DayRecords
from ingest.store.lamp_changes import LampChange, LampChangeKind
from ingest.store.store import Store

_MOSTLY_SEEN = 0.9
# A package's claim is for a distance; at another one it says nothing.
_SAME_DISTANCE_PART = 0.01


@dataclass(frozen=True, slots=True)
class LampView:
    """A lamp as one of its spots has seen it.

    `since` is the day on which its present baseline begins; `hours_before` is for how long it had burned by
    the first of `days`, as far as that can be told; `changes` are those that count, in order.
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
    configured = config.lamps[lamp]
    changes = _changes(store, lamp, until)
    hung = hung_on(store, config, lamp, until)
    since = max([hung, *(each.day for each in changes)])
    seen = records.lamps(spot, hung, until)
    calibration = seen[-1].calibration if seen else ""
    days = tuple(each.day for each in seen if each.day.date >= since and each.calibration == calibration)
    hours_before = _hours_before([each.day for each in seen], hung, days[0].date if days else until)
    report = lamp_report(
        days,
        config.spots[spot].band(),
        hours_before=hours_before,
        claim_uvi=_claim_uvi(configured),
    )
    return LampView(lamp, spot, since, hours_before, changes, days, report)


def hung_on(store: Store, config: Config, lamp: str, until: date) -> date:
    """Return the day on which the lamp was put in that hung on the day `until`."""
    return hung_since(config, lamp, _changes(store, lamp, until))


def hung_since(config: Config, lamp: str, changes: Iterable[LampChange]) -> date:
    """Return the day on which the lamp was put in that hangs after these changes, as far as is known."""
    new = [each.day for each in changes if each.what is LampChangeKind.LAMP and not each.withdrawn]
    return max([config.lamps[lamp].installed, *new])


def _changes(store: Store, lamp: str, until: date) -> tuple[LampChange, ...]:
    return tuple(each for each in store.lamp_changes.of(lamp) if not each.withdrawn and each.day <= until)


def _hours_before(seen: list[LampDay], hung: date, first: date) -> float:
    """Return for how long a lamp burned from the day it was hung to before `first`: unseen time as usual."""
    whole = [day.hours_on / day.coverage for day in seen if day.coverage > _MOSTLY_SEEN]
    usual = median(whole) if whole else 0.0
    before = [day for day in seen if day.date < first]
    unseen_days = (first - hung).days - len(before)
    return usual * unseen_days + sum(day.hours_on + usual * (1 - day.coverage) for day in before)


def _claim_uvi(lamp: LampConfig) -> float | None:
    """Return what the package claims for the distance at which the lamp hangs."""
    at_cm = lamp.package_claim_at_cm
    if lamp.package_claim_uvi is None or at_cm is None:
        return None
    same = abs(at_cm - lamp.distance_cm) <= _SAME_DISTANCE_PART * lamp.distance_cm
    return lamp.package_claim_uvi if same else None
