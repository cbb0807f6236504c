"""A spot's day out of samples that come in parts, so that no part is long: the same as of the whole."""

from collections.abc import Callable, Generator, Iterable
from typing import TypeAlias

import numpy as np

from calibrate.samples import Samples
from exposure.bands import Band
from exposure.days import DayBounds
from exposure.lamp_days import LampDay, LampSeen, unseen_lamp_day
from exposure.light import LightSeen, LitStream
from exposure.profile import DayProfile, DaySeen
from exposure.segments import Cutter, cadence_of_s, default_max_gap_s

Parts: TypeAlias = Callable[[], Iterable[Samples]]
"""Gives the parts of a series, in order of time; each time it is asked, the same series."""


def day_in_parts(
    parts: Parts, band: Band, bounds: DayBounds
) -> Generator[int, None, tuple[DayProfile, LampDay] | None]:
    """Return `profile.day_profile` and `lamp_days.lamp_day` of a series; None if nothing is within the day.

    Pauses after each part, with how many samples it has looked at.  It goes through the series three times:
    for the cadence, which says what a gap is; for what was seen, which says what is dark; and for the light.
    """
    spacing_ms: list[np.ndarray[tuple[int], np.dtype[np.int32]]] = []
    last_ms, n_within = None, 0
    for part in parts():
        if len(part):
            n_within += len(part.between(bounds.start_ms, bounds.end_ms))
            before_ms = part.utc_ms[0] if last_ms is None else last_ms
            spacing = np.diff(part.utc_ms, prepend=before_ms).astype(np.int32)
            spacing_ms.append(spacing if last_ms is not None else spacing[1:])
            last_ms = part.utc_ms[-1]
        yield len(part)
    if not n_within:
        return None
    all_ms = np.concatenate(spacing_ms)
    max_gap_s = default_max_gap_s(cadence_of_s(all_ms) if len(all_ms) else 0.0)
    del spacing_ms, all_ms

    seen = DaySeen(band, bounds, max_gap_s)
    for part in parts():
        seen.add(part)
        yield len(part)
    if seen.threshold_uvi is None:
        return seen.profile(None), unseen_lamp_day(bounds)

    cutter = Cutter(bounds.start_ms, bounds.end_ms, max_gap_s)
    lit_stream = LitStream(seen.threshold_uvi)
    light, lamp = LightSeen(band, seen.threshold_uvi), LampSeen(bounds, seen.threshold_uvi)
    for part in parts():
        pieces, lit = lit_stream.add(cutter.cut(part))
        light.add(pieces, lit)
        lamp.add(pieces, lit)
        yield len(part)
    pieces, lit = lit_stream.finish()
    light.add(pieces, lit)
    lamp.add(pieces, lit)
    return seen.profile(light.light), lamp.day()
