"""What the watch of a spot is put together from: watches of conditions, columns of samples."""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import Samples
from exposure.events import Event, EventKind
from exposure.held_events import Held, HeldEvents
from exposure.rules import RuleSettings
from exposure.segments import BoolArray
from exposure.signal_watch import SignalWatch

Changes: TypeAlias = list[tuple[int, Event]]
"""Events that change, each with a time or the index of a sample."""


def held_watch(
    held: Held,
    spot: str,
    settings: RuleSettings,
    by_kind: Mapping[EventKind, Event],
    hold_s: float,
    *,
    end_words: Sequence[str] = (),
) -> SignalWatch:
    """Return the watch of a plain condition of a spot; over at once where there is an end that says so."""
    return SignalWatch(
        HeldEvents(held, spot),
        grade_holds_s=(hold_s,),
        back_hold_s=min(hold_s, settings.back_hold_s) if end_words else hold_s,
        max_gap_s=settings.max_gap_s,
        end_words=end_words,
        event=by_kind.get(held.kind),
    )


def add_changes(changes: Changes, samples: Samples, found: Changes) -> None:
    """Add changes found at samples' indices by these samples' times."""
    changes += [(int(samples.utc_ms[at]), event) for at, event in found]


def in_place_at(turns: Sequence[tuple[int, bool]], n: int, *, was_in_place: bool) -> BoolArray:
    """Return at which of n samples an event was in place, given at which it began and ended."""
    in_place = np.full(n, was_in_place)
    for at, begins in turns:
        in_place[at:] = begins
    return in_place


def silences_ms(utc_ms: IntArray, last_ms: int) -> IntArray:
    """Return the time of each sample since the one before."""
    silence_ms = np.empty(len(utc_ms), np.int64)
    silence_ms[0] = utc_ms[0] - last_ms
    np.subtract(utc_ms[1:], utc_ms[:-1], out=silence_ms[1:])
    return silence_ms


def part_of(samples: Samples, begin: int, end: int) -> Samples:
    """Return the samples from one index up to another."""
    part = slice(begin, end)
    return Samples(samples.utc_ms[part], samples.uvi[part], samples.u_uvi[part], samples.flags[part])
