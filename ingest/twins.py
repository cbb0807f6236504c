"""Two spots under one lamp: what changed between two days tells the lamp's change from a sensor's."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot

import numpy as np

from calibrate.spot_check import Change, MovedOfTwo, which_moved
from ingest.config import Config
from ingest.store.store import Store

DAY_MS = 86_400_000
_LEAST_APART_MS = 2 * DAY_MS
_LEAST_LIT_MINUTES = 60
_LIT_SHARE = 0.5
_DAY_RELATIVE = 0.02
"""How far two days under an unchanged lamp differ (k = 1): temperature of the room, an animal in the way of
the light.  Judgement."""


@dataclass(frozen=True, slots=True)
class Twin:
    """Another spot under the same lamp, and which of the two has changed since a day."""

    spot: str
    moved: MovedOfTwo
    own: Change
    other: Change


def twins(store: Store, config: Config, spot: str, since_ms: int, now_ms: int) -> Iterator[Twin]:
    """Compare the day from `since_ms` on with the day up to `now_ms`, with each spot under the same lamp."""
    own = change_of(store, spot, since_ms, now_ms)
    if own is None:
        return
    for other, configured in config.spots.items():
        if other == spot or configured.lamp != config.spots[spot].lamp:
            continue
        change = change_of(store, other, since_ms, now_ms)
        if change is not None:
            yield Twin(other, which_moved(own, change), own, change)


def change_of(store: Store, spot: str, since_ms: int, now_ms: int) -> Change | None:
    """Return by how much the lit UVI of a spot has changed; None if too little was seen of either day."""
    if now_ms - since_ms < _LEAST_APART_MS:
        return None
    before = _lit_uvi(store, spot, since_ms, since_ms + DAY_MS)
    after = _lit_uvi(store, spot, now_ms - DAY_MS, now_ms)
    if before is None or after is None:
        return None
    return Change(after / before, hypot(_DAY_RELATIVE, _DAY_RELATIVE))


def _lit_uvi(store: Store, spot: str, from_ms: int, to_ms: int) -> float | None:
    """Return the median of the minutes in which the spot was lit."""
    uvi = store.minutes.between(spot, from_ms, to_ms).mean_uvi
    uvi = uvi[np.isfinite(uvi)]
    lit = uvi[uvi > _LIT_SHARE * uvi.max(initial=0.0)]
    return float(np.median(lit)) if len(lit) >= _LEAST_LIT_MINUTES else None
