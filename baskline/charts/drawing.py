"""What the chart of a day shows, gathered from the day."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from baskline.charts.clock_axis import clock_change
from baskline.charts.lanes import Span
from baskline.wording import (
    FLAG_WORDS,
    clock_time,
    day_summary,
    day_title,
    gaps_until_ms,
    seen_until_ms,
)
from calibrate.samples import VALUELESS, Flag
from exposure.bands import Band
from exposure.events import Event, EventKind
from exposure.kinds import KINDS
from exposure.trace import Trace, trace
from ingest.config import Config
from ingest.day import SpotDay

_BIN_MS: Final = 60_000
# Doubt that comes and goes within this is one doubt.
_DOUBT_JOINED_MS: Final = 15 * 60_000

# That it is back in its band is seen where the bar of what was wrong ends.
_NOT_DRAWN: Final = frozenset({EventKind.BACK_IN_BAND})


@dataclass(frozen=True, slots=True)
class Hole:
    """A time without a value, UTC milliseconds, and why."""

    start_ms: int
    end_ms: int
    words: str


@dataclass(frozen=True, slots=True)
class DayDrawing:
    """What the chart of a day shows; times are UTC milliseconds.

    `now_ms` is the present while the day lasts, else its end.
    """

    title: str
    summary: Sequence[str]
    starts_ms: int
    ends_ms: int
    now_ms: int
    time_zone: ZoneInfo
    trace: Trace
    band: Band
    holes: Sequence[Hole]
    spans: Sequence[Span]


def drawing_of(shown: SpotDay, config: Config, now_ms: int) -> DayDrawing:
    """Gather what the chart of a day shows at `now_ms`."""
    zone = ZoneInfo(shown.bounds.time_zone)
    until_ms = seen_until_ms(shown, now_ms)
    return DayDrawing(
        title=day_title(shown, config),
        summary=day_summary(shown, now_ms),
        starts_ms=shown.bounds.start_ms,
        ends_ms=shown.bounds.end_ms,
        now_ms=until_ms,
        time_zone=zone,
        trace=trace(shown.samples, bin_ms=_BIN_MS, max_gap_ms=round(shown.profile.max_gap_s * 1000)),
        band=shown.profile.band,
        holes=[Hole(start, end, _why(shown, start, end)) for start, end in gaps_until_ms(shown, now_ms)],
        spans=[*_events(shown, until_ms, zone), *_doubts(shown), *_clocks(shown, zone)],
    )


def _why(shown: SpotDay, start_ms: int, end_ms: int) -> str:
    flags = shown.samples.between(start_ms, end_ms).flags
    valueless = flags[(flags & np.uint32(VALUELESS)) != 0]
    if len(valueless) == 0:
        return "no readings"
    # What a sensor does not say is missing because of the sensor.
    faulty = bool(np.any(valueless & np.uint32(Flag.SENSOR_FAULT)))
    return _flag_words(valueless & ~np.uint32(Flag.MISSING) if faulty else valueless)


def _events(shown: SpotDay, until_ms: int, zone: ZoneInfo) -> Iterator[Span]:
    for event in shown.events:
        if event.kind not in _NOT_DRAWN:
            end_ms = until_ms if event.closed_ms is None else event.closed_ms
            yield Span(event.opened_ms, end_ms, _event_words(event, shown, zone), event.severity.value)


def _event_words(event: Event, shown: SpotDay, zone: ZoneInfo) -> str:
    what = KINDS[event.kind].short
    opened = clock_time(event.opened_ms, zone) if event.opened_ms >= shown.bounds.start_ms else ""
    ends = event.closed_ms is not None and event.closed_ms < shown.bounds.end_ms
    closed = clock_time(event.closed_ms, zone) if ends and event.closed_ms is not None else ""
    if opened and closed:
        return f"{what} {opened}" if opened == closed else f"{what} {opened}–{closed}"
    if opened:
        return f"{what} from {opened}"
    return f"{what} until {closed}" if closed else what


def _doubts(shown: SpotDay) -> Iterator[Span]:
    """Yield the times in which samples have a value and a flag."""
    samples = shown.samples
    doubtful = (samples.flags != 0) & ((samples.flags & np.uint32(VALUELESS)) == 0)
    at_ms, flags = samples.utc_ms[doubtful], samples.flags[doubtful]
    if len(at_ms) == 0:
        return
    starts = np.flatnonzero(np.diff(at_ms, prepend=at_ms[0] - _DOUBT_JOINED_MS - 1) > _DOUBT_JOINED_MS)
    for start, stop in zip(starts, [*starts[1:], len(at_ms)], strict=True):
        words = f"doubtful: {_flag_words(flags[start:stop])}"
        yield Span(int(at_ms[start]), int(at_ms[stop - 1]), words, "doubtful")


def _flag_words(flags: "np.ndarray[tuple[int], np.dtype[np.uint32]]") -> str:
    seen = Flag(int(np.bitwise_or.reduce(flags)))
    return ", ".join(FLAG_WORDS[flag.name.lower()] for flag in seen if flag.name is not None)


def _clocks(shown: SpotDay, zone: ZoneInfo) -> Iterator[Span]:
    change = clock_change(shown.bounds.start_ms, shown.bounds.end_ms, zone)
    if change is not None:
        yield Span(change.at_ms, change.at_ms, change.words, "note")
