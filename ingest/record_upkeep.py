"""Keeps the records of days up to date in the background, one day of one spot at a time."""

import logging
from collections import deque
from collections.abc import Callable
from datetime import date, timedelta
from enum import Enum
from typing import Final, TypeAlias

from calibrate.errors import KeeperError
from exposure.days import local_date
from ingest.config import Config
from ingest.day_making import AnyMaking, DayMaking, LampMaking, keep
from ingest.day_records import DayRecords
from ingest.lamp_views import hung_on
from ingest.store.store import Store

log = logging.getLogger("baskline.record_upkeep")

_LOOK_EVERY_MS: Final = 60_000
# What has no record at all is rare: days from before there were records, or of which all came late.
_LOOK_THROUGH_EVERY_MS: Final = 3_600_000


class _What(Enum):
    DAY = "day"
    LAMP = "lamp"  # by the calibration that applies now


# So many samples are looked at in one step: some ten milliseconds.
_AT_ONCE: Final = 30_000

_Work: TypeAlias = tuple[_What, str, date]


class RecordUpkeep:
    """Makes anew what has become stale, and makes what is missing."""

    def __init__(
        self, store: Store, config: Config, is_held: Callable[[str, date], bool] = lambda *_: False
    ) -> None:
        """`is_held` tells which days are left to another, for whom a stale record is what there is to do."""
        self._store = store
        self._is_held = is_held
        self._config = config
        self._records = DayRecords(store, config)
        self._work: deque[_Work] = deque()
        self._making: AnyMaking | None = None
        self._spots: deque[str] = deque()  # to be looked through
        self._look_due_ms = self._look_through_due_ms = 0

    @property
    def is_done(self) -> bool:
        """Whether nothing is known to be left to do."""
        return self._look_due_ms > 0 and self._making is None and not self._work and not self._spots

    def step(self, now_ms: int) -> bool:
        """Do one small piece of what there is to do; return whether there was any."""
        if self._making is not None:
            what = _What.LAMP if isinstance(self._making, LampMaking) else _What.DAY
            self._do(what, self._making.spot, self._making.day)
            return True
        if self._work:
            what, spot, day = self._work.popleft()
            if what is _What.LAMP or not self._is_held(spot, day):
                self._do(what, spot, day)
            return True
        if self._spots:
            self._work.extend(self._missing(self._spots.popleft()))
            return True
        if not self._look_due_ms <= now_ms + _LOOK_EVERY_MS:  # the clock was set back
            self._look_due_ms = self._look_through_due_ms = now_ms
        if now_ms < self._look_due_ms:
            return False
        self._look_due_ms = now_ms + _LOOK_EVERY_MS
        self._work.extend(
            (_What.DAY, spot, date.fromisoformat(day))
            for spot, day in self._store.days.stale()
            if spot in self._config.spots
        )
        if now_ms >= self._look_through_due_ms:
            self._look_through_due_ms = now_ms + _LOOK_THROUGH_EVERY_MS
            self._spots.extend(self._config.spots)
        return bool(self._work or self._spots)

    def _do(self, what: _What, spot: str, day: date) -> None:
        try:
            self._make(what, spot, day)
        except KeeperError:
            raise
        except Exception:  # that a day cannot be recorded must not end the watch
            log.exception("a day could not be put on record", extra={"spot": spot, "date": day.isoformat()})
            self._making = None
            self._store.days.remove(spot, day.isoformat())  # tried again with what is missing

    def _make(self, what: _What, spot: str, day: date) -> None:
        with self._store.transaction():
            making = self._making or self._begun(what, spot, day)
            making.step(_AT_ONCE)
            self._making = None if making.is_done else making
            keep(self._records, making)
            if what is _What.DAY and making.is_done and making.record is None:
                self._store.days.remove(spot, day.isoformat())

    def _begun(self, what: _What, spot: str, day: date) -> AnyMaking:
        if what is _What.LAMP:
            return LampMaking(self._records, spot, day, self._last_judged(spot) or day)
        return DayMaking(self._records, spot, day)

    def _missing(self, spot: str) -> list[_Work]:
        """Return what a spot's days lack, the newest first: these are asked for."""
        last = self._last_judged(spot)
        first_ms = self._store.readings.next_utc_ms(
            self._config.boards[self._config.spots[spot].board].identity, 0
        )
        if last is None or first_ms is None:
            return []
        first = local_date(first_ms, self._config.bridge.time_zone)
        hung = hung_on(self._store, self._config, self._config.spots[spot].lamp, last)
        days: list[_Work] = [(_What.DAY, spot, day) for day in self._records.unkept(spot, first, last)]
        lamps: list[_Work] = [
            (_What.LAMP, spot, day) for day in self._records.unkept_lamps(spot, max(hung, first), last)
        ]
        return [*days[::-1], *lamps[::-1]]

    def _last_judged(self, spot: str) -> date | None:
        through_ms = self._store.judged.through(spot)
        if through_ms is None:
            return None
        today = local_date(through_ms, self._config.bridge.time_zone)  # the first day that was not judged
        return today - timedelta(days=1)
