"""The days on which the judgement of a day looks back, put on record a little at a time."""

import logging
from datetime import date, timedelta
from typing import Final

from calibrate.errors import KeeperError
from exposure.usual import USUAL_DAYS
from ingest.config import Config
from ingest.day_making import AnyMaking, DayMaking, LampMaking, keep
from ingest.day_records import DayRecords
from ingest.lamp_views import hung_on
from ingest.store.store import Store

log = logging.getLogger("baskline.nightly")

# At about so many samples a step looks: twenty milliseconds or so.
_AT_ONCE: Final = 60_000


class DaysBefore:
    """Puts on record what is missing of them."""

    def __init__(self, store: Store, config: Config, records: DayRecords) -> None:
        self._store = store
        self._config = config
        self._records = records
        self._making: AnyMaking | None = None
        self._empty: set[tuple[str, date]] = set()  # there may have been readings, but there were none

    @property
    def under_way(self) -> bool:
        """Whether a day has been begun."""
        return self._making is not None

    def drop(self) -> None:
        """Begin anew with what has been begun."""
        self._making = None
        self._empty.clear()

    def kept_some(self, spot: str, day: date) -> bool:
        """Do a step of what is missing before `day`; return whether there was any.

        A day that cannot be read is done without.
        """
        try:
            with self._store.transaction():
                return self._keep_some(spot, day)
        except KeeperError:  # the store's: it is for whoever runs the bridge
            raise
        except Exception:
            self._making = None
            log.exception("a day could not be put on record", extra={"spot": spot, "before": day.isoformat()})
            return False

    def _keep_some(self, spot: str, day: date) -> bool:
        left = _AT_ONCE
        if self._making is not None:
            left -= self._go_on(self._making, left)
        hung = hung_on(self._store, self._config, self._config.spots[spot].lamp, day)
        if left > 0:
            first = min(hung, day - timedelta(days=USUAL_DAYS))
            for missing in self._records.unkept(spot, first, day - timedelta(days=1)):
                if (spot, missing) in self._empty:
                    continue
                left -= self._go_on(DayMaking(self._records, spot, missing), left)
                if left <= 0:
                    break
        if left < _AT_ONCE:
            return True
        for missing in self._records.unkept_lamps(spot, hung, day):
            left -= self._go_on(LampMaking(self._records, spot, missing, day), left)
            if left <= 0:
                break
        return left < _AT_ONCE

    def _go_on(self, making: AnyMaking, n_most: int) -> int:
        n = making.step(n_most)
        self._making = None if making.is_done else making
        keep(self._records, making)
        if making.is_done and making.record is None:
            self._empty.add((making.spot, making.day))
        return n
