"""The keeper's local days as UTC bounds, daylight-saving changes included."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from calibrate.errors import KeeperError

HOUR_MS = 3_600_000
_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d", re.ASCII)


class DayError(KeeperError):
    """A time zone that is not known, or a day that was never lived there."""


@dataclass(frozen=True, slots=True)
class DayBounds:
    """One local day: from `start_ms`, inclusive, to `end_ms`, exclusive, UTC milliseconds since the epoch.

    `time_zone` is an IANA name.  Most days last 24 h; those of a daylight-saving change 23 or 25.
    """

    date: date
    time_zone: str
    start_ms: int
    end_ms: int

    @property
    def hours(self) -> float:
        """How long the day lasts."""
        return (self.end_ms - self.start_ms) / HOUR_MS


def _zone(time_zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as problem:
        raise DayError(
            f"no time zone is called {time_zone!r}",
            where="time zone",
            remedy="Give an IANA name such as Europe/Berlin",
        ) from problem


def check_time_zone(time_zone: str) -> None:
    """Raise `DayError` if there is no time zone of that name."""
    _zone(time_zone)


@lru_cache(maxsize=512)
def local_time_ms(day: date, minute: int, time_zone: str) -> int:
    """Return the UTC milliseconds at which the local clock shows `minute` of `day` (60 is 01:00).

    A time that comes twice counts as the first; one that a change of the clocks leaves out is the moment
    of the change.  `minute` may run past 1440 into the next day.
    """
    # The calendar carries over: 1440 is 00:00 of the next day, not 24 elapsed hours after midnight.
    wanted = datetime(day.year, day.month, day.day, tzinfo=_zone(time_zone)) + timedelta(minutes=minute)
    at_ms = round(wanted.timestamp()) * 1000
    shown = datetime.fromtimestamp(at_ms // 1000, wanted.tzinfo)
    if shown.replace(tzinfo=None) == wanted.replace(tzinfo=None):
        return at_ms
    # Left out by a change: Python answers as if the old offset still held, so what the clock shows is as
    # far past the change as was asked.
    return _change_before_ms(at_ms, wanted)


def _change_before_ms(at_ms: int, wanted: datetime) -> int:
    """Return the moment of the clock change within the two days before `at_ms`, to the second."""
    zone = wanted.tzinfo
    after_s, before_s = at_ms // 1000, at_ms // 1000 - 2 * 86400
    offset = datetime.fromtimestamp(after_s, zone).utcoffset()
    while after_s - before_s > 1:
        middle_s = (after_s + before_s) // 2
        if datetime.fromtimestamp(middle_s, zone).utcoffset() == offset:
            after_s = middle_s
        else:
            before_s = middle_s
    return after_s * 1000


def day_bounds(day: date, time_zone: str) -> DayBounds:
    """Return the bounds of a local day; `DayError` for an unknown zone or a day that the zone left out."""
    if not 1 < day.year < 9999:  # beside these the calendar ends within a day
        raise DayError(f"no readings can be from {day}", where="date", remedy="Give a day of this century")
    start_ms = local_time_ms(day, 0, time_zone)
    end_ms = local_time_ms(day + timedelta(days=1), 0, time_zone)
    if start_ms == end_ms:
        raise DayError(
            f"{day} was left out of the calendar in {time_zone}",
            where="date",
            remedy="Give the day before or after",
        )
    return DayBounds(day, time_zone, start_ms, end_ms)


def local_date(utc_ms: int, time_zone: str) -> date:
    """Return the local day in which a moment falls."""
    return datetime.fromtimestamp(utc_ms // 1000, _zone(time_zone)).date()


def local_minute(utc_ms: int, time_zone: str) -> float:
    """Return what the local clock shows at a moment, in minutes since its midnight."""
    shown = datetime.fromtimestamp(utc_ms / 1000, _zone(time_zone))
    return shown.hour * 60 + shown.minute + shown.second / 60


def clock_of(text: str) -> time:
    """Return a time of the day written as 08:30; `ValueError` for anything else."""
    if _CLOCK.fullmatch(text) is None:
        raise ValueError("write a time of the day as 08:30")
    return time.fromisoformat(text)


def iso_local(utc_ms: int, time_zone: str) -> str:
    """Return a moment as ISO 8601 local time with its offset, to the second: `2024-03-31T08:00:00+02:00`."""
    return datetime.fromtimestamp(utc_ms // 1000, _zone(time_zone)).isoformat()


def iso_utc(utc_ms: int) -> str:
    """Return a moment as ISO 8601 in UTC, to the second: `2024-03-31T06:00:00Z`."""
    return datetime.fromtimestamp(utc_ms // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
