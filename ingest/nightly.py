"""The end of each spot's day in the daemon: its record, what it is worth telling, and checks that are due.

Everything here happens at moments of the traffic, one spot's day at a time, so that a capture gives the same
answer as the live run did and the ports are never left alone for long.
"""

import logging
from bisect import insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from calibrate.calibration import Calibration
from calibrate.errors import KeeperError
from exposure.days import DayBounds, day_bounds, local_date
from exposure.events import Event
from ingest.config import Config
from ingest.day_judging import DayJudging
from ingest.day_making import DayMaking
from ingest.day_records import DayRecord, DayRecords
from ingest.days_before import DaysBefore
from ingest.due_checks import DueChecks
from ingest.late_days import LateDays
from ingest.store.day_rows import AROUND_MS
from ingest.store.store import Store

log = logging.getLogger("baskline.nightly")

GRACE_MS: Final = 15 * 60_000
"""So long after local midnight a day is over: its last line needs a reading after it, and boards that were
not heard for some minutes say again what they remember."""

AFTER_START_MS: Final = 10 * 60_000
"""So long after its start a run judges nothing: boards say first what the host has missed, and a clock
without a battery is set."""

LATE_QUIET_MS: Final = 5 * 60_000
"""So long after the last reading that came late the day is judged anew: a replay comes in portions."""

_STEP_EVERY_MS: Final = 1_000
# A day of many readings is made in steps of a few milliseconds, with time for the ports between them.
_PART_EVERY_MS: Final = 250
_AT_ONCE: Final = 30_000
_LOOK_EVERY_MS: Final = 10_000
_FOR_EVER_MS: Final = 2**53


@dataclass(frozen=True, slots=True)
class _Over:
    """A spot's day to judge; `number` is the spot's place in the configuration.

    `anew_ms`: since when it is due to be judged anew, if it has been judged before.
    """

    number: int
    spot: str
    day: DayBounds
    anew_ms: int | None = None

    @property
    def order(self) -> tuple[int, int]:
        """The oldest first."""
        return self.day.start_ms, self.number


@dataclass(frozen=True, slots=True)
class Ended:
    """Events that change.  `of_this_run`: they happened by this run's clock, and move when it is set."""

    events: Sequence[Event]
    of_this_run: bool


_NOTHING_YET: Final = Ended((), of_this_run=True)


class Nightly:
    """Judges the days of a bridge's spots when they are over, the oldest first.

    Each once; but the last one that was judged is judged anew where readings of it, or before it, came late,
    or got another calibration.
    """

    def __init__(
        self,
        store: Store,
        config: Config,
        calibrations: Mapping[str, Calibration],
        now_ms: int,
        *,
        bulk: bool,
    ) -> None:
        """Take up where an earlier run left off.

        A spot that is new, or has come back, begins with today.  `bulk` is for a replay, whose times may be
        older than what the store has.  A capture holds no spot checks, so none is called overdue by it.
        """
        self._store = store
        self._config = config
        self._bulk = bulk
        self._records = DayRecords(store, config)
        self._zone = config.bridge.time_zone
        self._started_ms = now_ms
        self._days_due_ms = now_ms + AFTER_START_MS
        checks_due_ms = _FOR_EVER_MS if bulk else now_ms + AFTER_START_MS
        self._checks = DueChecks(store, config, calibrations, checks_due_ms)
        self._look_due_ms = _FOR_EVER_MS if bulk else now_ms
        self._over: list[_Over] | None = None
        self._judging = DayJudging(store, config, calibrations, self._records, self._opened)
        self._before = DaysBefore(store, config, self._records)
        self._making: DayMaking | None = None  # of the day to judge
        with store.transaction():
            store.judged.keep_only(config.spots)
            for spot in config.spots:
                through_ms = store.judged.through(spot)
                # An earlier run's clock may have been ahead.
                if through_ms is None or (through_ms > now_ms and not bulk):
                    store.judged.set_through(spot, self._today(now_ms).start_ms)
        self._late = LateDays(store, config, None if bulk else self._days_due_ms)

    @property
    def late_before_ms(self) -> int:
        """Readings that were made before then may be of a day that was judged: tell `came` of them."""
        return self._late.before_ms

    def came(self, board: str, first_ms: int, now_ms: int) -> None:
        """Take note that readings of `board` came, the first of them made at `first_ms`."""
        due_ms = self._late.came(board, first_ms, now_ms + LATE_QUIET_MS)
        self._days_due_ms = min(self._days_due_ms, due_ms)

    def holds(self, spot: str, day: date) -> bool:
        """Return whether a day is to be judged anew, which is when its record is made too."""
        return self._late.holds(spot, day)

    @property
    def due_ms(self) -> int:
        """When `is_due` is worth asking."""
        return min(self._days_due_ms, self._checks.due_ms, self._look_due_ms)

    def is_due(self, now_ms: int) -> bool:
        """Return whether there may be something to judge."""
        if now_ms >= self._look_due_ms:
            self._look_due_ms = now_ms + _LOOK_EVERY_MS
            self._checks.look(now_ms)
            self._days_due_ms = min(self._days_due_ms, self._late.look(now_ms + LATE_QUIET_MS))
        return now_ms >= min(self._days_due_ms, self._checks.due_ms)

    def step(self, now_ms: int) -> list[Ended]:
        """Judge what is due, at most one day of one spot; in the transaction that stores the events.

        All readings that have come must be stored.
        """
        ended = []
        if now_ms >= self._checks.due_ms:
            changed = self._checks.judge(now_ms, self._opened(now_ms))
            ended.append(Ended(changed, of_this_run=False))
        if now_ms >= self._days_due_ms:
            judged = self._judge_oldest(now_ms)
            if judged is None:
                self._days_due_ms = min(self._next_night_ms(now_ms), self._late.due_ms)
            else:
                ended.append(judged)
                under_way = self._before.under_way or self._making is not None
                self._days_due_ms = now_ms + (_PART_EVERY_MS if under_way else _STEP_EVERY_MS)
        return ended

    def restamp(self, step_ms: int, now_ms: int) -> None:
        """Move along with the run's readings to a better time, which is `now_ms` now; in that transaction."""
        began_ms, self._started_ms = self._started_ms, self._started_ms + step_ms
        for spot in self._config.spots:
            through_ms = self._store.judged.through(spot)
            assert through_ms is not None, "each spot has one since the start"
            if through_ms > began_ms:  # of days in this run, which have moved
                self._store.judged.set_through(spot, through_ms + step_ms)
            elif through_ms > self._started_ms:
                self._store.judged.set_through(spot, self._today(self._started_ms).start_ms)
        self._over = self._making = None
        self._before.drop()
        self._late.restamp(step_ms, min(began_ms, self._started_ms))
        self._days_due_ms = max(now_ms, self._started_ms + AFTER_START_MS)
        if not self._bulk:
            self._checks.due_ms = max(now_ms, self._started_ms + AFTER_START_MS)
            self._look_due_ms += step_ms

    # -- days

    def _judge_oldest(self, now_ms: int) -> Ended | None:
        """Go on with the oldest day that is to be judged, of the first spot; None if there is none."""
        if self._over is None:
            self._over = []
            for number, spot in enumerate(self._config.spots):
                self._add_next(number, spot, now_ms)
        if not self._before.under_way and self._making is None:
            self._add_late(now_ms)
        while self._over:
            over = self._over[0]
            if self._making is None and self._before.kept_some(over.spot, over.day.date):
                return _NOTHING_YET
            ended = self._judged_or_left(over)
            if self._making is not None:
                return _NOTHING_YET
            del self._over[0]
            if over.anew_ms is None:
                self._add_next(over.number, over.spot, now_ms)
            if ended is not None:
                return ended
        self._over = None
        return None

    def _add_next(self, number: int, spot: str, now_ms: int) -> None:
        day = self._next_day(spot)
        if day is not None and day.end_ms + GRACE_MS <= now_ms:
            assert self._over is not None
            insort(self._over, _Over(number, spot, day), key=lambda each: each.order)

    def _add_late(self, now_ms: int) -> None:
        assert self._over is not None
        for number, spot in enumerate(self._config.spots):
            late = self._late.take(spot, now_ms)
            if late is not None:
                day, due_ms = late
                insort(self._over, _Over(number, spot, day, due_ms), key=lambda each: each.order)

    def _next_day(self, spot: str) -> DayBounds | None:
        """Return the first day, not judged yet, of which there may be readings."""
        through_ms = self._store.judged.through(spot) or 0
        found = []
        for span in self._store.assignments.timeline(spot, through_ms, _FOR_EVER_MS):
            next_ms = self._store.readings.next_utc_ms(span.assignment.board, span.from_ms)
            if next_ms is not None and next_ms < span.to_ms:
                found.append(next_ms)
        return self._today(min(found)) if found else None

    def _judged_or_left(self, over: _Over) -> Ended | None:
        """Go on with the making of a day and judge it once it is made, whatever comes of it.

        None if nothing of it was seen.
        """
        try:
            with self._store.transaction():
                if self._making is None:
                    self._making = DayMaking(self._records, over.spot, over.day.date)
                self._making.step(_AT_ONCE)
                if not self._making.is_done:
                    return None
                record, self._making = self._making.record, None
                self._note_judged(over)
                return None if record is None else self._judge_day(over, record)
        except KeeperError:  # the store's: it is for whoever runs the bridge
            raise
        except Exception:  # that a day cannot be judged must not end the watch
            self._making = None
            self._note_judged(over)
            log.exception(
                "a day could not be judged", extra={"spot": over.spot, "date": over.day.date.isoformat()}
            )
            return _NOTHING_YET

    def _note_judged(self, over: _Over) -> None:
        if over.anew_ms is None:
            self._store.judged.set_through(over.spot, over.day.end_ms)
        self._late.judged(over.spot, over.day)

    def _judge_day(self, over: _Over, record: DayRecord) -> Ended:
        """Put a day on record and judge it."""
        events = self._judging.judge(record, over.anew_ms)
        happened_ms = over.day.end_ms if over.anew_ms is None else over.anew_ms
        return Ended(events, of_this_run=happened_ms > self._started_ms)

    def _today(self, utc_ms: int) -> DayBounds:
        return day_bounds(local_date(utc_ms, self._zone), self._zone)

    def _next_night_ms(self, now_ms: int) -> int:
        today = self._today(now_ms)
        return (today.start_ms if now_ms < today.start_ms + GRACE_MS else today.end_ms) + GRACE_MS

    def _opened(self, at_ms: int) -> list[Event]:
        """Return the open events; in a replay only those that were open by then."""
        return [event for event in self._store.events.open() if not self._bulk or event.opened_ms <= at_ms]

    def keep_from_ms(self) -> int | None:
        """Return from when on readings are needed for days that were not judged yet; None if none are."""
        days = [self._next_day(spot) for spot in self._config.spots]
        return min((day.start_ms - AROUND_MS for day in days if day is not None), default=None)
