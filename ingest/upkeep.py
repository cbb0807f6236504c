"""The store's housekeeping: flushing, summarising, packing and forgetting, a little each second."""

from collections.abc import Callable
from datetime import date
from typing import Final

from firmware_host.clock import Moment
from ingest.config import Config
from ingest.record_upkeep import RecordUpkeep
from ingest.store.store import Store
from ingest.summaries import Summariser

# A line between the last sample of a minute and the next one needs that next one: wait for it.
_SUMMARISE_AFTER_MS: Final = 5 * 60_000
_SUMMARISE_EVERY_MS: Final = 60_000  # once all is done; else a step each second
# What a power cut can lose of readings, and a board with a ring that kept its power says again.  Flushing a
# memory card takes up to a tenth of a second and wears it; events are flushed with their own commit.
_SYNC_EVERY_MS: Final = 30_000
_FORGET_EVERY_MS: Final = 3_600_000
_DAY_MS: Final = 86_400_000


class Upkeep:
    """Looks after a store while a bridge writes to it."""

    def __init__(
        self,
        store: Store,
        config: Config,
        start: Moment,
        keep_from_ms: Callable[[], int | None],
        is_held: Callable[[str, date], bool],
    ) -> None:
        """`keep_from_ms` tells from when on readings are still needed, None if none are.

        `is_held`: see `RecordUpkeep`.
        """
        self._store = store
        self._summariser = Summariser(store)
        self._records = RecordUpkeep(store, config, is_held)
        self._raw_keep_days = config.bridge.raw_keep_days
        self._keep_from_ms = keep_from_ms
        self._summarise_due_ms = self._synced_ms = self._forgot_ms = start.mono_ms

    def step(self, now: Moment, now_ms: int, *, clock_sure: bool) -> None:
        """Do what is due; `now_ms` is the bridge's idea of the time."""
        if now.mono_ms - self._synced_ms >= _SYNC_EVERY_MS:
            self._synced_ms = now.mono_ms
            self._store.sync()
        if now.mono_ms >= self._summarise_due_ms and not self.summarise_step(now_ms):
            self._summarise_due_ms = now.mono_ms + _SUMMARISE_EVERY_MS
        # By a clock that may be a year ahead nothing is forgotten.
        if (
            self._raw_keep_days is not None
            and clock_sure
            and now.mono_ms - self._forgot_ms >= _FORGET_EVERY_MS
            and self._records.is_done
        ):
            self._forgot_ms = now.mono_ms
            before_ms = now_ms - self._raw_keep_days * _DAY_MS
            keep_from_ms = self._keep_from_ms()
            self._store.readings.forget_before(
                before_ms if keep_from_ms is None else min(before_ms, keep_from_ms)
            )

    def summarise_step(self, now_ms: int) -> bool:
        """Do one small step of summarising, packing or recording; return whether there was anything to do."""
        did = self._summariser.step(before_ms=now_ms - _SUMMARISE_AFTER_MS)
        return self._store.readings.compact(now_ms) or did or self._records.step(now_ms)
