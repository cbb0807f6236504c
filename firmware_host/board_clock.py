"""A board's own milliseconds, aligned to the host's monotonic axis.

A line cannot arrive before it was sent, so of all that is seen of a board, `arrival - board_ms` is never
below the true offset, and the lowest of it is the best.  But a board's oscillator does not run at the
host's pace: a lowest value grows old.  So each observation is a point on a straight line of the board's
estimated pace, allowed to rise by the *leak*, which is how wrong that pace may still be; the lowest of
these lines is the alignment.

How good (times in ms, everything constant over the time looked at): where in each second, or in each
line of a slower board, one line takes at most d ≤ 10 ms from its board's stamp to the host, the error of
a live reading is between -3 and d + 2·leak·w + 3, w being the time since such a line.  The leak starts at
2 % and is 53 ppm after 10 minutes, 32 ppm after half an hour.  A reading replayed from a time at which the
host was listening is within d + 4; one from before that errs in addition by the board's unknown pace times
the distance: 0.2 s in an hour for a crystal of 50 ppm.
"""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from calibrate.arrays import FloatArray, IntArray

# The widest pace that is believed.  Crystals stay within 50 ppm, ceramic resonators within 0.5 %, trimmed RC
# oscillators within 2 % (common practice, no source).  Much beyond 2 % no board gets a line across at all: a
# UART samples the last bit of a frame 9.5 bit times after its start, so half a bit there is 5 % between both
# ends.
_PACE_BOUND = 0.02
# What the quickest arrivals of two slots may differ by: the hub gathers bytes for up to 8 ms.
_QUICKEST_SPREAD_MS = 10.0
# An oscillator warms up under a lamp: a crystal moves by a few ppm, so the leak never closes wholly.
_LEAK_FLOOR = 20e-6
# Observations are thinned to the best one a slot.  A slot is a sixteenth of the time since the start, so that
# the pace is known soon, and at most a minute.
_SLOT_SHARE = 16
_SLOT_MIN_MS = 1_000
_SLOT_MAX_MS = 60_000
# The pace is that of the last half hour (temperature changes it over a day) ...
_PACE_SLOTS = 32
# ... the alignment that of the last five slots (an older one would hide that the board stood still) ...
_ALIGN_SLOTS = 5
# ... and two hours and more are remembered, to place what a ring of an hour replays.
_HISTORY_SLOTS = 192
# A host too busy to read, or a board behind its own replay, makes lines late by seconds; only beyond
# this is it the clock.
_JUMP_MS = 5_000
# The first lines after a port opens may have waited in a buffer: no jump is declared while settling.
_SETTLE_MS = 10_000


class ClockFault(StrEnum):
    """What a board's clock did that a clock does not do."""

    BACKWARDS = "backwards"  # a later reading carries an earlier time
    AHEAD = "ahead"  # it leapt forward
    BEHIND = "behind"  # it stood still


@dataclass(frozen=True, slots=True)
class ClockJump:
    """A clock that jumped by about `by_ms` (positive) within one boot; the alignment starts afresh."""

    fault: ClockFault
    by_ms: int


class BoardClock:
    """The alignment of one boot of one board.  Pure: time comes in with the observations."""

    def __init__(self, board_ms: int, arrived_ms: int) -> None:
        """Begin with a first observation: a board's stamp, and when it arrived on the host's axis."""
        self._reading_ms = board_ms  # board time of the newest reading observed
        self._history: deque[tuple[int, int]] = deque(maxlen=_HISTORY_SLOTS)
        self._recent: deque[tuple[int, int]] = deque(maxlen=_ALIGN_SLOTS)
        self._start(board_ms, arrived_ms)

    def _start(self, board_ms: int, arrived_ms: int) -> None:
        self._born_ms = arrived_ms
        self._pace = 0.0  # host ms that pass in one board ms, minus 1
        self._pace_doubt = _PACE_BOUND
        self._history.clear()
        self._recent.clear()
        self._knots: tuple[FloatArray, FloatArray] | None = None
        self._anchor = (board_ms, float(arrived_ms))
        self._slot_best = (board_ms, arrived_ms)
        self._slot_ends_ms = arrived_ms + _SLOT_MIN_MS
        self._now_board_ms = board_ms
        self._now_host_ms = float(arrived_ms)

    @property
    def pace_ppm(self) -> float:
        """How much slower than the host's clock the board's runs, in parts per million."""
        return self._pace * 1e6

    @property
    def pace_doubt_ppm(self) -> float:
        """How wrong `pace_ppm` may be."""
        return self._pace_doubt * 1e6

    @property
    def _leak(self) -> float:
        return min(_PACE_BOUND, self._pace_doubt + _LEAK_FLOOR)

    def observe_reading(self, board_ms: int, arrived_ms: int) -> ClockJump | None:
        """Take in a live reading: the last one of a chunk, for the ones before it waited for it."""
        if board_ms < self._reading_ms:
            jump = ClockJump(ClockFault.BACKWARDS, self._reading_ms - board_ms)
            self._start(board_ms, arrived_ms)
            self._reading_ms = board_ms
            return jump
        self._reading_ms = board_ms
        return self._observe(board_ms, arrived_ms)

    def observe_answer(self, board_ms: int, asked_ms: int, arrived_ms: int) -> ClockJump | None:
        """Take in the answer to a request for the board's time, which was not made before the question."""
        jump = self._observe(board_ms, arrived_ms)
        floor_ms = float(asked_ms)
        if jump is None and floor_ms > self._now_host_ms:
            shortfall_ms = round(floor_ms - self._now_host_ms)
            if shortfall_ms > _JUMP_MS:
                self._start(board_ms, arrived_ms)
                return ClockJump(ClockFault.BEHIND, shortfall_ms)
            # The old observations promise too much; they must not pull the alignment down again.
            self._recent.clear()
            self._anchor = (board_ms, floor_ms)
            self._now_host_ms = floor_ms
        return jump

    def to_host_ms(self, board_ms: IntArray) -> IntArray:
        """Place board times on the host's monotonic axis.

        Parameters
        ----------
        board_ms : (n,) int64, milliseconds since the board's start, in any order.

        Returns
        -------
        (n,) int64, host monotonic milliseconds.  Errors: see the head of this module.
        """
        if len(board_ms) == 1 and (not self._history or board_ms[0] >= self._history[-1][0]):
            one = self._now_host_ms + (int(board_ms[0]) - self._now_board_ms) * (1.0 + self._pace)
            return np.array([round(one)], np.int64)  # live readings come one by one
        host: FloatArray = self._now_host_ms + (board_ms - self._now_board_ms) * np.float64(1.0 + self._pace)
        if self._history and int(board_ms.min(initial=self._now_board_ms)) < self._history[-1][0]:
            host = self._with_history(board_ms, host)
        placed: IntArray = np.rint(host).astype(np.int64)
        return placed

    def _observe(self, board_ms: int, arrived_ms: int) -> ClockJump | None:
        ceiling_ms = self._ceiling_ms(self._anchor, board_ms)
        early_ms = ceiling_ms - 2 * self._leak * (board_ms - self._anchor[0]) - arrived_ms
        if early_ms > _JUMP_MS:
            settling = arrived_ms - self._born_ms < _SETTLE_MS
            self._start(board_ms, arrived_ms)
            return None if settling else ClockJump(ClockFault.AHEAD, round(early_ms))
        if arrived_ms <= ceiling_ms:
            self._anchor = (board_ms, float(arrived_ms))
        if arrived_ms >= self._slot_ends_ms:
            jump = self._close_slot(board_ms, arrived_ms)
            if jump is not None:
                return jump
        else:
            best_board_ms, best_host_ms = self._slot_best
            if arrived_ms - best_host_ms <= (board_ms - best_board_ms) * (1.0 + self._pace):
                self._slot_best = (board_ms, arrived_ms)
        self._now_board_ms = board_ms
        self._now_host_ms = min(float(arrived_ms), self._ceiling_ms(self._anchor, board_ms))
        return None

    def _ceiling_ms(self, anchor: tuple[int, float], board_ms: int) -> float:
        """Return the latest host time that `board_ms` can mean, given one earlier observation."""
        return anchor[1] + (board_ms - anchor[0]) * (1.0 + self._pace + self._leak)

    def _close_slot(self, board_ms: int, arrived_ms: int) -> ClockJump | None:
        """Remember the slot's best, learn the pace anew, and open the next slot with this observation."""
        best = self._slot_best
        if not self._history or best[0] > self._history[-1][0]:
            self._history.append(best)
            self._recent.append(best)
            self._knots = None
        self._slot_best = (board_ms, arrived_ms)
        length_ms = min(max((arrived_ms - self._born_ms) // _SLOT_SHARE, _SLOT_MIN_MS), _SLOT_MAX_MS)
        self._slot_ends_ms = arrived_ms + length_ms

        before_ms = self._ceiling_ms(self._anchor, board_ms)
        self._learn_pace()
        candidates = [(board, float(host)) for board, host in self._recent]
        candidates.append((board_ms, float(arrived_ms)))
        self._anchor = min(candidates, key=lambda anchor: self._ceiling_ms(anchor, board_ms))
        late_ms = self._ceiling_ms(self._anchor, board_ms) - before_ms
        if late_ms > _JUMP_MS:
            self._start(board_ms, arrived_ms)
            return ClockJump(ClockFault.BEHIND, round(late_ms))
        return None

    def _learn_pace(self) -> None:
        points = list(self._history)[-_PACE_SLOTS:]
        span_ms = points[-1][0] - points[0][0]
        if span_ms <= 0:
            return
        slope = _slope_under(points)
        self._pace = min(max(slope - 1.0, -_PACE_BOUND), _PACE_BOUND)
        # The points lie between 0 and the spread above the truth.  The line under them does too at the middle
        # of the span, and nowhere lies above them: its slope is off by 2·spread/span at most.
        self._pace_doubt = min(_PACE_BOUND, 2 * _QUICKEST_SPREAD_MS / span_ms)

    def _with_history(self, board_ms: IntArray, host: FloatArray) -> FloatArray:
        """Replace what lies before the open slot by what was observed at that time."""
        if self._knots is None:
            self._knots = self._make_knots()
        knot_board, knot_host = self._knots
        placed = np.interp(board_ms, knot_board, knot_host)
        # Before the first observation there is only the pace, and until it stands out of its doubt, a
        # crystal's is the likeliest: none.
        pace = self._pace if abs(self._pace) > self._pace_doubt else 0.0
        earlier = knot_host[0] + (board_ms - knot_board[0]) * (1.0 + pace)
        placed = np.where(board_ms < knot_board[0], earlier, placed)
        return np.where(board_ms < knot_board[-1], placed, host)

    def _make_knots(self) -> tuple[FloatArray, FloatArray]:
        """Return the history with late points lowered to what their neighbours on both sides allow."""
        points = np.array(self._history, dtype=np.float64)
        board, host = points[:, 0], points[:, 1]
        rising = board * (1.0 + self._pace + self._leak)
        falling = board * (1.0 + self._pace - self._leak)
        forward = np.minimum.accumulate(host - rising) + rising
        backward = np.minimum.accumulate((host - falling)[::-1])[::-1] + falling
        return board, np.minimum(forward, backward)


def _slope_under(points: list[tuple[int, int]]) -> float:
    """Return the slope of the highest straight line under all points at the middle of their span.

    It is an edge of the lower convex hull.  The same idea, with the points' mean for the middle, is the
    linear programme of Moon, Skelly & Towsley, "Estimation and Removal of Clock Skew from Network Delay
    Measurements" (1998); the middle gives the smallest bound on the error.
    """
    hull: list[tuple[int, int]] = []
    for point in points:
        while len(hull) >= 2 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    middle = (points[0][0] + points[-1][0]) / 2
    for left, right in pairwise(hull):
        if right[0] >= middle:
            return (right[1] - left[1]) / (right[0] - left[0])
    raise AssertionError("the middle lies within the span")


def _turns_down(a: tuple[int, int], b: tuple[int, int], c: tuple[int, int]) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) <= (b[1] - a[1]) * (c[0] - a[0])
