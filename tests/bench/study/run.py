"""One lamp's year through the very code that judges a real one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from exposure.board_watch import BoardWatch, default_silence_s
from exposure.day_end import day_end
from exposure.events import Event
from exposure.lamp_days import LampDay, lamp_day
from exposure.lamps import Forecast, lamp_report
from exposure.profile import DayProfile, day_profile
from exposure.watch import SpotWatch
from tests.bench.study.world import BAND, CADENCE_S, DAYS, SETTINGS, Lamp

_MAX_GAP_S = 3.5 * CADENCE_S
_FORECASTS_EVERY_DAYS = 7


@dataclass(frozen=True, slots=True)
class Run:
    """What a year of one lamp gave: each event in its last version, forecasts by the day they were made."""

    lamp: Lamp
    events: tuple[Event, ...]
    forecasts: Sequence[tuple[int, Forecast]]
    coverage: Sequence[float]


def run(lamp: Lamp, days: int = DAYS) -> Run:
    """Judge the first `days` of a lamp's year."""
    spot = lamp.plan.name
    start_ms = lamp.bounds(0).start_ms
    watch = SpotWatch(spot, BAND, SETTINGS, reach_uvi=lamp.reach_uvi)
    watch.expect(CADENCE_S)
    board = BoardWatch("board", silent_after_s=default_silence_s(CADENCE_S), started_ms=start_ms)
    events: dict[str, Event] = {}
    profiles: list[DayProfile] = []
    lamp_days: list[LampDay] = []
    forecasts: list[tuple[int, Forecast]] = []
    for day in range(days):
        bounds, samples = lamp.bounds(day), lamp.samples(day)
        changed = watch.observe(samples)
        changed += board.heard_all(samples.utc_ms) if len(samples) else []
        changed += board.tick(bounds.end_ms - 1)
        if day in lamp.changes:
            lamp_days.clear()
        lamp_days.append(lamp_day(samples, bounds, max_gap_s=_MAX_GAP_S))
        profile = day_profile(samples, BAND, bounds, max_gap_s=_MAX_GAP_S)
        report = lamp_report(lamp_days, BAND)
        open_events = [event for event in events.values() if event.is_open]
        end = day_end(
            spot, profile, profiles[-30:], SETTINGS, open_events, lamp_days=lamp_days, report=report
        )
        profiles.append(profile)
        for event in (*changed, *end.events):
            events[event.identity] = event
        if day % _FORECASTS_EVERY_DAYS == 0:
            forecasts += [(day, forecast) for forecast in report.forecasts]
    return Run(lamp, tuple(events.values()), forecasts, [each.coverage for each in profiles])


def day_of(run_: Run, at_ms: int) -> int:
    """Return the day of the year in which a moment falls."""
    return (at_ms - run_.lamp.bounds(0).start_ms) // int(timedelta(days=1).total_seconds() * 1000)
