"""When and where the invented room is: its day, its clock, and when its mishaps come."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Final

from exposure.days import local_time_ms

_DAY: Final = date(2025, 5, 17)  # a Saturday, weeks from a change of the clocks
_TIME_ZONE: Final = "Europe/Vienna"
_DATE: Final = re.compile(r"\b\d{4}-\d\d-\d\d\b")

# Live, something happens at each of these steps but the last; then it begins anew, while lamps are lit.
_STEPS: Final = 7
_ROUNDS: Final = 24
# In the afternoon before the first lamp goes off, when the last has long been warm.
_EARLY_AFTERNOON: Final = range(11, 15)
_OFFSETS_H: Final = range(-12, 15)  # those that zones have


@dataclass(frozen=True, slots=True)
class Span:
    """From when to when, in UTC milliseconds."""

    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Setting:
    """The room's day in its time zone.

    `sage`: when a stalk shades the thyme; `too_much`: when the wall's tube gives too much; `unplugged`: when
    the rock garden's board has no port.  Shade and light come and go over `sage_ramp_s` and `lamp_ramp_s`.
    """

    day: date
    time_zone: str
    sage: tuple[Span, ...]
    too_much: tuple[Span, ...]
    unplugged: tuple[Span, ...]
    sage_ramp_s: float
    lamp_ramp_s: float

    def moment_ms(self, hour: int, minutes: int = 0, *, days_before: int = 0) -> int:
        """Return a local time of the day, or of one before it, in UTC milliseconds."""
        return local_time_ms(self.before(days_before), hour * 60 + minutes, self.time_zone)

    def before(self, days: int) -> date:
        """Return the date so many days before the room's day."""
        return self.day - timedelta(days=days)

    def adapted(self, text: str) -> str:
        """Return a file of the room with its zone, and its dates as long before the day as they were."""
        later = self.day - _DAY
        moved = _DATE.sub(lambda found: (date.fromisoformat(found[0]) + later).isoformat(), text)
        return moved.replace(_TIME_ZONE, self.time_zone)


def _usual(hour: int, minutes: int) -> int:
    return local_time_ms(_DAY, hour * 60 + minutes, _TIME_ZONE)


USUAL: Final = Setting(
    day=_DAY,
    time_zone=_TIME_ZONE,
    sage=(Span(_usual(10, 20), _usual(11, 50)),),
    too_much=(Span(_usual(13, 10), _usual(16, 20)),),
    unplugged=(Span(_usual(15, 10), _usual(15, 50)),),
    sage_ramp_s=240,
    lamp_ramp_s=900,
)


def live_setting(now_ms: int, own_offset_s: float, every_ms: int) -> Setting:
    """Return the room as it is now, lying where it is early afternoon, as near as that is to one's own zone.

    `own_offset_s` is how far the clocks here are before UTC.  Each `every_ms` something happens.
    """
    utc = datetime.fromtimestamp(now_ms / 1000, UTC)
    offset_h = min(
        (hours for hours in _OFFSETS_H if (utc + timedelta(hours=hours)).hour in _EARLY_AFTERNOON),
        key=lambda hours: abs(3600 * hours - own_offset_s),
    )
    here = utc.astimezone(timezone(timedelta(hours=offset_h)))
    begins = [now_ms + number * _STEPS * every_ms for number in range(_ROUNDS)]

    def spans(first: int, last: int) -> tuple[Span, ...]:
        """The same in each round: from its `first` step to its `last`."""
        return tuple(Span(begin + first * every_ms, begin + last * every_ms) for begin in begins)

    return Setting(
        day=here.date(),
        time_zone=f"Etc/GMT{-offset_h:+d}" if offset_h else "Etc/GMT",  # the sign there counts westwards
        sage=spans(1, 3),
        too_much=spans(2, 4),
        unplugged=spans(5, 6),
        sage_ramp_s=15,
        lamp_ramp_s=30,
    )
