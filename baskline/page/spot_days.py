"""Which days of a spot there are, and a day in words and as a table."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from baskline.measured_words import full_day, measured, percent, short_day
from baskline.wording import DAY_HANG, clock_time, day_lines
from exposure.days import HOUR_MS, local_date
from exposure.trace import trace
from ingest.config import Config
from ingest.day import SpotDay, spot_day
from ingest.day_beside import DayBeside
from ingest.store.store import Store
from ingest.week import SpotDays

_DAY: Final = timedelta(days=1)
# The lines of a day that say which it is and where; a page has headings for that.
_HEAD_LINES: Final = 3


@dataclass(frozen=True, slots=True)
class DaysKnown:
    """The first and the last day of which there may be readings; without any, both are today."""

    first: date
    last: date
    any: bool


@dataclass(frozen=True, slots=True)
class DayPages:
    """A day among its neighbours; `note` says why another than the one that was asked for is shown."""

    day: date
    title: str
    first: date
    last: date
    previous: date | None
    following: date | None
    note: str


def days_known(store: Store, config: Config, spot: str, now_ms: int) -> DaysKnown:
    """Return which days of a spot can be looked at."""
    time_zone = config.bridge.time_zone
    today = local_date(now_ms, time_zone)
    extents = []
    for span in store.assignments.timeline(spot, 0, max(now_ms, 1)):
        extent = store.readings.extent(span.assignment.board)
        if extent is not None:
            extents.append((max(extent[0], span.from_ms), min(extent[1], span.to_ms, now_ms)))
    seen = [(from_ms, to_ms) for from_ms, to_ms in extents if from_ms <= to_ms]
    if not seen:
        return DaysKnown(today, today, any=False)
    first_ms, last_ms = min(each[0] for each in seen), max(each[1] for each in seen)
    return DaysKnown(local_date(first_ms, time_zone), local_date(last_ms, time_zone), any=True)


def day_pages(days: DaysKnown, asked: date | None) -> DayPages:
    """Return the day to show for the one that was asked for, None for the last."""
    day = days.last if asked is None else min(max(asked, days.first), days.last)
    note = ""
    if asked is not None and asked > days.last:
        note = f"There is nothing after {full_day(days.last)} yet."
    elif asked is not None and asked < days.first:
        note = f"There is nothing before {full_day(days.first)}."
    return DayPages(
        day=day,
        title=full_day(day),
        first=days.first,
        last=days.last,
        previous=day - _DAY if day > days.first else None,
        following=day + _DAY if day < days.last else None,
        note=note,
    )


def day_of(store: Store, config: Config, spot: str, day: date) -> SpotDay:
    """Return a spot's day."""
    configured = config.spots[spot]
    return spot_day(
        store,
        spot,
        day,
        board=config.boards[configured.board].identity,
        time_zone=config.bridge.time_zone,
        band_now=configured.band(),
    )


def day_facts(
    shown: SpotDay, config: Config, now_ms: int, beside: DayBeside
) -> list[tuple[str, tuple[str, ...]]]:
    """Return (what, its lines) of a day, as `baskline day` says it."""
    facts: list[tuple[str, tuple[str, ...]]] = []
    for line in list(day_lines(shown, config, now_ms, beside))[_HEAD_LINES:]:
        name, words = line[:DAY_HANG].strip(), line[DAY_HANG:]
        if name or not facts:
            facts.append((name, (words,)))
        else:
            facts[-1] = (facts[-1][0], (*facts[-1][1], words))
    return facts


def hour_rows(shown: SpotDay) -> Iterator[tuple[str, str, str]]:
    """Yield (hour, mean UVI with its interval, doubt) of each hour of a day that was seen."""
    zone = ZoneInfo(shown.bounds.time_zone)
    seen = trace(shown.samples, bin_ms=HOUR_MS, max_gap_ms=round(shown.profile.max_gap_s * 1000))
    for at_ms, uvi, upper, doubtful in zip(
        seen.utc_ms.tolist(), seen.uvi.tolist(), seen.upper_uvi.tolist(), seen.doubtful.tolist(), strict=True
    ):
        hour = clock_time(at_ms // HOUR_MS * HOUR_MS, zone)
        yield hour, measured(uvi, (upper - uvi) / 2), "doubtful" if doubtful else ""


WEEK_HEAD: Final = ("Day", "Dose, UVI·h", "Below", "In band", "Above", "Over ceiling", "Seen")


def week_rows(days: SpotDays) -> Sequence[tuple[str, ...]]:
    """Return a row for each day under WEEK_HEAD: hours of light by where they lay."""
    rows: list[tuple[str, ...]] = []
    for day in days.days:
        profile = day.profile
        if profile is None or profile.dose_uvi_h is None:
            seen = "nothing" if profile is None else "no UVI known"
            rows.append((short_day(day.date), "not known", "", "", "", "", seen))
            continue
        rows.append(
            (
                short_day(day.date),
                measured(profile.dose_uvi_h, profile.u_dose_uvi_h, at_least=profile.at_least),
                *(
                    "" if each is None else f"{each:.1f} h"
                    for each in (
                        profile.hours_below_band,
                        profile.hours_in_band,
                        profile.hours_above_band,
                        profile.hours_above_ceiling,
                    )
                ),
                percent(profile.coverage),
            )
        )
    return rows
