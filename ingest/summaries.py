"""One-minute summaries, kept for ever: computed from raw readings wherever something new has come."""

import numpy as np

from calibrate.arrays import FloatArray, IntArray
from calibrate.samples import Samples
from exposure.dose import seen_until
from exposure.segments import cadence_s, default_max_gap_s, segments, valued
from ingest.history import History
from ingest.store.dirty import MINUTE_MS, DirtySpan
from ingest.store.minutes import NO_MINUTES, MinuteSummaries
from ingest.store.store import Store

# One step of the work, so that the daemon looks at its ports in between: a quarter of an hour of a board at
# 10 Hz is 9,000 readings, some 10 ms.  Shorter ones would read their surroundings too often.
_STEP_MS = 15 * MINUTE_MS
# No line is drawn over a longer gap.
_REACH_MS = 5 * MINUTE_MS


class Summariser:
    """Brings the store's minutes up to date, a little at a time."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._history = History(store)

    def step(self, *, before_ms: int) -> bool:
        """Summarise one piece of what is due and ended before `before_ms`; return whether there was any."""
        for span in self._store.minutes.dirty():
            piece = _first_piece(span, before_ms // _STEP_MS * _STEP_MS)
            if piece is not None:
                self._summarise(piece)
                return True
        return False

    def _summarise(self, piece: DirtySpan) -> None:
        with self._store.transaction():
            for spot in self._store.assignments.spots():
                # Only where this board served the spot; at another time another board may have.
                for held in self._store.assignments.timeline(spot, piece.from_ms, piece.to_ms):
                    if held.assignment.board == piece.board:
                        self._replace(spot, piece)
                        break
            self._store.minutes.clean(piece)

    def _replace(self, spot: str, piece: DirtySpan) -> None:
        near = self._history.samples(spot, piece.from_ms - 2 * _REACH_MS, piece.to_ms + 2 * _REACH_MS)
        from_ms, to_ms = _reach(near, piece)
        rows = summarise(near, from_ms, to_ms)
        self._store.minutes.replace(spot, from_ms // MINUTE_MS, to_ms // MINUTE_MS, rows)


def _first_piece(span: DirtySpan, before_ms: int) -> DirtySpan | None:
    to_ms = min(span.to_ms, span.from_ms + _STEP_MS, before_ms)
    return DirtySpan(span.board, span.from_ms, to_ms) if to_ms > span.from_ms else None


def _reach(samples: Samples, piece: DirtySpan) -> tuple[int, int]:
    """Return the minutes that new samples in `piece` change, as UTC milliseconds.

    The lines from its neighbours to the first of them and from the last of them change too.
    """
    before, after = np.searchsorted(samples.utc_ms, [piece.from_ms, piece.to_ms])
    from_ms, to_ms = piece.from_ms, piece.to_ms
    if before > 0:
        last_ms = max(int(samples.utc_ms[before - 1]), from_ms - _REACH_MS)
        from_ms = last_ms // MINUTE_MS * MINUTE_MS
    if after < len(samples):
        next_ms = min(int(samples.utc_ms[after]), to_ms + _REACH_MS)
        to_ms = (next_ms // MINUTE_MS + 1) * MINUTE_MS
    return from_ms, to_ms


def summarise(samples: Samples, from_ms: int, to_ms: int) -> MinuteSummaries:
    """Return the minutes in [from_ms, to_ms), whole minutes, of which `samples` (in time order) show any.

    A minute without a sample may yet be seen: a slow board's line goes across it.
    """
    if len(samples) == 0:
        return NO_MINUTES
    minutes = np.arange(from_ms // MINUTE_MS, to_ms // MINUTE_MS)
    within = samples.between(from_ms, to_ms)
    held, starts, counts = np.unique(within.utc_ms // MINUTE_MS, return_index=True, return_counts=True)
    at = held - minutes[0]
    count, flags = np.zeros(len(minutes), np.int64), np.zeros(len(minutes), np.uint32)
    count[at] = counts
    if len(held):
        flags[at] = np.bitwise_or.reduceat(within.flags, starts)
    mean, low, high, doubt = _by_minute(samples, minutes)
    covered_ms, dose_uvi_h = _seen_by_minute(samples, minutes)
    every = MinuteSummaries(minutes, count, covered_ms, mean, low, high, doubt, flags, dose_uvi_h)
    return every.only((count > 0) | (covered_ms > 0))


def _by_minute(samples: Samples, minutes: IntArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return mean, least and greatest UVI and mean standard uncertainty; NaN where nothing had a value."""
    good = valued(samples)
    minute = good.utc_ms // MINUTE_MS
    results = tuple(np.full(len(minutes), np.nan) for _ in range(4))
    present = np.isin(minute, minutes)
    minute, uvi, u_uvi = minute[present], good.uvi[present], good.u_uvi[present]
    if len(minute):
        starts = np.flatnonzero(np.diff(minute, prepend=minute[0] - 1))
        count = np.diff(starts, append=len(minute))
        at = np.searchsorted(minutes, minute[starts])
        results[0][at] = np.add.reduceat(uvi, starts) / count
        results[1][at] = np.minimum.reduceat(uvi, starts)
        results[2][at] = np.maximum.reduceat(uvi, starts)
        results[3][at] = np.add.reduceat(u_uvi, starts) / count
    return results[0], results[1], results[2], results[3]


def _seen_by_minute(samples: Samples, minutes: IntArray) -> tuple[IntArray, FloatArray]:
    """Return for each minute the milliseconds that were seen and the dose in them [UVI·h]; they add up."""
    max_gap_s = default_max_gap_s(cadence_s(samples) if len(samples) > 1 else 0.0)
    starts_ms = minutes * MINUTE_MS
    pieces = segments(samples, int(starts_ms[0]), int(starts_ms[-1]) + MINUTE_MS, max_gap_s)
    uvi_h_before, s_before = seen_until(pieces, starts_ms)
    uvi_h_after, s_after = seen_until(pieces, starts_ms + MINUTE_MS)
    covered_ms = np.rint((s_after - s_before) * 1000).astype(np.int64)
    return covered_ms, uvi_h_after - uvi_h_before
