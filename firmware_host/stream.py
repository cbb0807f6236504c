"""One boot of one board on one link: its readings in order, its gaps, and its clock.  No port, no clock."""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from calibrate.arrays import IntArray
from firmware_host.batch import ReadingBatch
from firmware_host.board_clock import BoardClock, ClockJump
from firmware_host.columns import Columns, joined, tabulate
from firmware_host.gaps import MAX_TRIES, Gaps, SeqRange, SeqSet
from firmware_host.mapped import NO_BOARD_MS
from firmware_host.messages import BoardTime, Hello, Reading, ReplayEnd
from firmware_host.news import BootReused, ClockAnomaly, Lost, News

# Readings behind a gap wait this long for a sign that the gap is being filled.  A board answers within some
# milliseconds, unless its program reads its port only once a cadence.
_HOLD_MS: Final = 1_000
# While replayed lines keep coming the wait goes on, but never longer than this: an alert must not be late
# for the sake of history, and 5 s is what a rule's hold time easily swallows.  At 115,200 baud it is time
# for some 700 readings.
_HOLD_CAP_MS: Final = 5_000
# Held readings are bounded in memory too (64 bytes each with three channels).
_HELD_MAX: Final = 4_096
# Readings to ask for at once.  A long replay in portions leaves room for live lines in between, and a portion
# that is damaged costs little to repeat; 200 lines take 1.4 s at 115,200 baud.
_PORTION: Final = 200
# With no replayed line for this long a request counts as unanswered.
_ANSWER_MS: Final = 2_000
_ANSWER_CAP_MS: Final = 10_000
# A line carries at most 16 channels, and a board seldom more in all its lines.  Names that were garbled and
# yet taken must not make the table wider for ever.
_MAX_CHANNELS: Final = 64


class BoardStream:
    """Readings of one boot in, batches out: in order of sequence number, each reading once.

    When a sequence number is missing and the board can replay, newer readings wait (see `_HOLD_MS`).  What
    comes after they were handed on is delivered as a late batch.
    """

    def __init__(self, board: str, boot: str, stored: Iterable[tuple[int, int]], *, mapped: bool) -> None:
        """`stored`: what the store already has of this boot, as (first, last) inclusive."""
        self.board = board
        self.boot = boot
        self._ring: int | None = 0 if mapped else None  # None: not known yet
        self._cadence_ms = 0
        self._layout: tuple[str, ...] = ()
        self._clock: BoardClock | None = None
        # Until the board has answered with its time, its first lines may have waited in a buffer for a host
        # to come, and would be placed too late.
        self._aligned = mapped
        self._have = SeqSet(stored)  # stored, delivered or held
        self._next_seq = self._have.end  # everything before it is delivered, lost, or late when it comes
        self._noted_to = 0  # gaps before it are noted
        # What is missing from before this session's time is asked for, but not called lost: either it never
        # was ours, or it has been said already.
        self._ours_from = self._have.end or None
        self._newest_seq = self._next_seq - 1
        self._reuse_told = False
        self._gaps = Gaps()
        self._held: Columns | None = None
        self._last_host_ms = -(1 << 62)
        self._asked: SeqRange | None = None
        self._asked_progress_ms = 0
        self._unanswered = 0

    def introduce(self, hello: Hello, at_ms: int) -> list[News]:
        """Learn what the board can do."""
        news: list[News] = []
        self._cadence_ms = hello.cadence_ms
        if not self._layout:
            self._layout = hello.channels
        self._ring = hello.ring
        self._unanswered = 0
        news += self._lost(self._out_of_reach())
        return news + self._release(at_ms)

    def take(self, readings: Sequence[Reading], at_ms: int) -> list[News]:
        """Take in the readings (at least one) of a chunk."""
        news = self._look_at_clock(readings, at_ms)
        columns = tabulate(readings, at_ms, self._layout)
        self._layout = columns.channels if len(columns.channels) <= _MAX_CHANNELS else ()
        first, last = readings[0].seq, readings[-1].seq
        n = len(columns)
        if (
            first == self._next_seq == self._noted_to
            and self._held is None
            and last - first == n - 1
            and (n == 1 or bool((np.diff(columns.seq) == 1).all()))
            and self._aligned
        ):
            self._have.add(first, last)
            self._newest_seq = last
            self._noted_to = last + 1
            if self._ours_from is None:
                self._ours_from = first
            news.append(self._delivered(columns))
            return news
        return news + self._sort_in(columns, at_ms, replayed=any(reading.replayed for reading in readings))

    def answer_time(self, answer: BoardTime, asked_ms: int, at_ms: int) -> list[News]:
        """Take in the board's answer to a request for its time, made at `asked_ms`."""
        self._aligned = True
        if self._clock is None:
            self._clock = BoardClock(answer.board_ms, at_ms)
            return self._release(at_ms)
        news = self._anomaly(self._clock.observe_answer(answer.board_ms, asked_ms, at_ms))
        return news + self._release(at_ms)

    def end_replay(self, end: ReplayEnd, at_ms: int) -> list[News]:
        """Take in the end of a replay: what of the request is outside of it is gone."""
        if self._asked is None:
            return []
        asked, self._asked = self._asked, None
        self._unanswered = 0
        gone: list[SeqRange] = []
        if asked.first_seq < end.first_seq:
            gone += self._gaps.forget(SeqRange(asked.first_seq, min(asked.last_seq, end.first_seq - 1)))
        if asked.last_seq > end.last_seq:
            gone += self._gaps.forget(SeqRange(max(asked.first_seq, end.last_seq + 1), asked.last_seq))
        gone += self._gaps.tried(asked)
        return self._lost(gone) + self._release(at_ms)

    def wanted(self, at_ms: int) -> SeqRange | None:
        """Return what to ask the board for now, and count it as asked."""
        if not self._ring or self._asked is not None:
            return None
        self._asked = self._gaps.to_ask(_PORTION)
        if self._asked is not None:
            self._asked_progress_ms = at_ms
        return self._asked

    @property
    def hears(self) -> bool:
        """Whether the board has not stopped answering."""
        return self._unanswered < MAX_TRIES

    @property
    def due_ms(self) -> int | None:
        """When `tick` has something to do, on the host's monotonic axis."""
        dues = []
        if self._held is not None:
            dues.append(self._hold_ends_ms())
        if self._asked is not None:
            dues.append(self._asked_progress_ms + self._answer_ms)
        return min(dues, default=None)

    def tick(self, at_ms: int) -> list[News]:
        """Do what is due: hand on what waited long enough, give up on an answer."""
        news: list[News] = []
        if self._asked is not None and at_ms >= self._asked_progress_ms + self._answer_ms:
            asked, self._asked = self._asked, None
            self._unanswered += 1
            if not self.hears:
                self._ring = 0  # until it says hello again, nothing waits for it
                news += self._lost(self._out_of_reach())
            news += self._lost(self._gaps.tried(asked))
        return news + self._release(at_ms)

    def finish(self, at_ms: int, *, gone: bool) -> list[News]:
        """Hand on everything.  With `gone` the board has forgotten this boot, so its gaps are lost."""
        lost = self._lost(self._gaps.forget(SeqRange(0, self._noted_to))) if gone else []
        return lost + self._release(at_ms, all_of_it=True)

    @property
    def _answer_ms(self) -> int:
        return min(max(_ANSWER_MS, 2 * self._cadence_ms), _ANSWER_CAP_MS)

    def _look_at_clock(self, readings: Sequence[Reading], at_ms: int) -> list[News]:
        """Observe the last live reading: those before it waited for it, replayed ones are old."""
        reading = next((reading for reading in reversed(readings) if not reading.replayed), None)
        if reading is None:
            return []
        if reading.seq < self._newest_seq and not self._reuse_told:
            self._reuse_told = True
            return [BootReused(self.board, self.boot), *self._clock_news(reading, at_ms)]
        return self._clock_news(reading, at_ms)

    def _clock_news(self, reading: Reading, at_ms: int) -> list[News]:
        if reading.board_ms == NO_BOARD_MS:
            return []
        if self._clock is None:
            self._clock = BoardClock(reading.board_ms, at_ms)
            return []
        return self._anomaly(self._clock.observe_reading(reading.board_ms, at_ms))

    def _anomaly(self, jump: ClockJump | None) -> list[News]:
        return [] if jump is None else [ClockAnomaly(self.board, self.boot, jump)]

    def _sort_in(self, columns: Columns, at_ms: int, *, replayed: bool) -> list[News]:
        """Take in readings that are not simply the next ones."""
        news: list[News] = []
        if replayed and self._asked is not None:
            self._asked_progress_ms = at_ms
            self._unanswered = 0
        _, once = np.unique(columns.seq, return_index=True)
        columns = columns.pick(once)
        columns = columns.pick(~self._have.contains(columns.seq))
        if not len(columns):
            return news
        self._have.add_all(columns.seq)
        self._newest_seq = max(self._newest_seq, int(columns.seq[-1]))
        if self._ours_from is None:
            self._ours_from = int(columns.seq[0])
        self._gaps.fill(self._have)
        for gap in self._have.missing(self._noted_to, self._newest_seq):
            news += self._lost(self._gaps.note(gap))
        self._noted_to = self._newest_seq + 1
        news += self._lost(self._out_of_reach())
        self._held = columns if self._held is None else joined([self._held, columns])
        return news + self._release(at_ms)

    def _out_of_reach(self) -> list[SeqRange]:
        """Give up the gaps that the board's ring no longer holds."""
        if self._ring is None:
            return []
        oldest_kept = self._newest_seq - self._ring + 1
        return self._gaps.forget(SeqRange(0, min(oldest_kept, self._noted_to) - 1))

    def _lost(self, given_up: Iterable[SeqRange]) -> list[News]:
        return [
            Lost(self.board, self.boot, first, last)
            for first, last in given_up
            if self._ours_from is not None and first >= self._ours_from
        ]

    def _hold_ends_ms(self) -> int:
        assert self._held is not None
        since_ms = int(self._held.arrived_ms.min())
        hold_ms = max(_HOLD_MS, 2 * self._cadence_ms)
        sign_of_life_ms = max(since_ms, self._asked_progress_ms)
        return min(sign_of_life_ms + hold_ms, since_ms + _HOLD_CAP_MS)

    def _release(self, at_ms: int, *, all_of_it: bool = False) -> list[News]:
        """Hand on what no longer has to wait."""
        held = self._held
        if held is None:
            return []
        expired = all_of_it or at_ms >= self._hold_ends_ms() or len(held) > _HELD_MAX
        if not self._aligned:
            if not expired:
                return []
            self._aligned = True  # as well as it goes: it does not answer
            if self._clock is None:  # replayed readings, and no live one to place them by
                self._clock = BoardClock(int(held.board_ms[-1]), at_ms)
        awaited = None if expired else self._gaps.first_from(self._next_seq)
        n_free = len(held) if awaited is None else int(np.searchsorted(held.seq, awaited))
        if n_free == 0:
            return []
        self._held = held.pick(slice(n_free, None)) if n_free < len(held) else None
        return self._hand_on(held.pick(slice(0, n_free)))

    def _hand_on(self, columns: Columns) -> list[News]:
        """Deliver readings in order; those behind what was delivered before as a batch of their own."""
        n_late = int(np.searchsorted(columns.seq, self._next_seq))
        news: list[News] = []
        if n_late:
            news.append(self._delivered(columns.pick(slice(0, n_late)), late=True))
        if n_late < len(columns):
            news.append(self._delivered(columns.pick(slice(n_late, None))))
        return news

    def _delivered(self, columns: Columns, *, late: bool = False) -> ReadingBatch:
        host_ms = self._placed(columns)
        if not late:
            # Later readings are later, even where the alignment has just learned better.
            host_ms = _increasing(host_ms, self._last_host_ms + 1)
            self._last_host_ms = int(host_ms[-1])
            self._next_seq = int(columns.seq[-1]) + 1
        return ReadingBatch(
            self.board,
            self.boot,
            columns.channels,
            columns.seq,
            columns.board_ms,
            host_ms,
            columns.values,
            columns.marks,
            late,
        )

    def _placed(self, columns: Columns) -> IntArray:
        if self._clock is None:
            # Lines without a time that came in one chunk: the last one is the newest.
            n = len(columns)
            return columns.arrived_ms - np.arange(n - 1, -1, -1)
        return self._clock.to_host_ms(columns.board_ms)


def _increasing(host_ms: IntArray, earliest_ms: int) -> IntArray:
    """Return the times at least 1 ms apart, none before `earliest_ms`."""
    if host_ms[0] >= earliest_ms and (len(host_ms) == 1 or bool((np.diff(host_ms) > 0).all())):
        return host_ms
    steps = np.arange(len(host_ms))
    increasing: IntArray = np.maximum.accumulate(np.maximum(host_ms, earliest_ms) - steps) + steps
    return increasing
