"""One spot's day out of the store: its samples, its profile, its events."""

from dataclasses import dataclass
from datetime import date

from calibrate.samples import Samples
from exposure.bands import Band
from exposure.days import DayBounds, day_bounds
from exposure.events import Event
from exposure.profile import DayProfile, day_profile
from ingest.assigning import band_of_text
from ingest.history import History
from ingest.store.day_rows import AROUND_MS
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class SpotDay:
    """A spot's day.  `samples` are those of the day itself; `events` open or close or last in it."""

    spot: str
    bounds: DayBounds
    profile: DayProfile
    samples: Samples
    events: tuple[Event, ...]


def spot_day(store: Store, spot: str, day: date, *, board: str, time_zone: str, band_now: Band) -> SpotDay:
    """Return the day of `spot`, derived from raw readings.

    The band is that which applied at the end of the day, or `band_now` if the store knows of none.  `board`
    is the identity of the board whose silences belong to the spot's story.
    """
    bounds = day_bounds(day, time_zone)
    spans = store.assignments.timeline(spot, bounds.start_ms, bounds.end_ms)
    band = band_of_text(spans[-1].assignment.band) if spans else band_now
    samples = History(store).samples(spot, bounds.start_ms - AROUND_MS, bounds.end_ms + AROUND_MS)
    events = store.events.between(bounds.start_ms, bounds.end_ms)
    return SpotDay(
        spot,
        bounds,
        day_profile(samples, band, bounds),
        samples.between(bounds.start_ms, bounds.end_ms),
        tuple(event for event in events if event.is_of(spot, board)),
    )
