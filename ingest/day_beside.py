"""A spot's day beside the days before it, and what can be said of its dose."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from exposure.dose_verdict import DoseVerdict, dose_verdict
from exposure.lamp_days import LampDay
from exposure.usual import USUAL_DAYS, Compared, compare_day, day_figures
from ingest.config import Config
from ingest.day import SpotDay
from ingest.day_records import DayRecords


@dataclass(frozen=True, slots=True)
class DayBeside:
    """What a day is beside others.

    `lamp` and `compared` (by the names of `exposure.usual.day_figures`) are None and empty where nothing of
    the day was seen; `verdict` is None while the day lasts.
    """

    lamp: LampDay | None
    compared: Mapping[str, Compared]
    verdict: DoseVerdict | None


def day_beside(records: DayRecords, config: Config, shown: SpotDay, now_ms: int) -> DayBeside:
    """Return a spot's day beside the 30 before it."""
    day = shown.bounds.date
    known = records.of(shown.spot, day - timedelta(days=USUAL_DAYS), day)
    figures = {record.date: day_figures(record.profile, record.lamp) for record in known}
    before = [record.profile for record in known if record.date < day]
    is_over = now_ms >= shown.bounds.end_ms
    return DayBeside(
        next((record.lamp for record in known if record.date == day), None),
        compare_day(day, figures[day], figures) if day in figures else {},
        dose_verdict(shown.profile, before, config.rule_settings(shown.spot)) if is_over else None,
    )
