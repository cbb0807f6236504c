"""A day's hours as the keeper's clock shows them, which skips or repeats some twice a year."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from exposure.days import HOUR_MS

# Every known clock change, and every zone's offset, is a multiple of this.
_STEP_MS: Final = 15 * 60_000


@dataclass(frozen=True, slots=True)
class Tick:
    """A full hour of the clock, `hour` elapsed hours after midnight."""

    hour: float
    label: str


def clock_ticks(start_ms: int, end_ms: int, zone: ZoneInfo, *, narrow: bool) -> list[Tick]:
    """Return the labelled ticks of a day, from 00:00 to 24:00.

    Every third hour, every sixth where it is narrow.  A day on which the clocks change has every hour
    labelled, in two digits, where there is room: so the one that is missing or comes twice is seen.
    """
    hourly = clock_change(start_ms, end_ms, zone) is not None and not narrow
    every_h = 1 if hourly else 6 if narrow else 3
    ticks: list[Tick] = []
    for at_ms in range(start_ms, end_ms, _STEP_MS):
        at = datetime.fromtimestamp(at_ms / 1000, zone)
        if at.minute == 0 and at.hour % every_h == 0:
            label = f"{at:%H}" if hourly else f"{at:%H:%M}"
            if hourly or label not in {tick.label for tick in ticks}:
                ticks.append(Tick((at_ms - start_ms) / HOUR_MS, label))
    ticks.append(Tick((end_ms - start_ms) / HOUR_MS, "24" if hourly else "24:00"))
    return ticks


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The moment at which the clocks are set, and what they show just before and after."""

    at_ms: int
    before: str
    after: str

    @property
    def words(self) -> str:
        """What happens, for people."""
        return f"clocks go from {self.before} to {self.after}"


def clock_change(start_ms: int, end_ms: int, zone: ZoneInfo) -> ClockChange | None:
    """Return the change of the clocks within a day, if it has one."""
    for at_ms in range(start_ms + _STEP_MS, end_ms, _STEP_MS):
        before = datetime.fromtimestamp((at_ms - _STEP_MS) / 1000, zone)
        after = datetime.fromtimestamp(at_ms / 1000, zone)
        if before.utcoffset() != after.utcoffset():
            unchanged = before + timedelta(milliseconds=_STEP_MS)
            return ClockChange(at_ms, f"{unchanged:%H:%M}", f"{after:%H:%M}")
    return None
