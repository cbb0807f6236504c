"""Spot checks in the daemon: judged once an hour, and soon after somebody has made one."""

from collections.abc import Mapping, Sequence
from typing import Final

from calibrate.calibration import Calibration
from exposure.events import Event
from ingest.check_events import check_events
from ingest.config import Config
from ingest.store.store import Store

_EVERY_MS: Final = 3_600_000


class DueChecks:
    """The spot checks of a configuration's spots, and when to judge them next."""

    def __init__(
        self, store: Store, config: Config, calibrations: Mapping[str, Calibration], due_ms: int
    ) -> None:
        self._store = store
        self._config = config
        self._calibrations = calibrations
        self._seen = store.checks.state()
        self.due_ms = due_ms
        """When to judge them."""

    def look(self, now_ms: int) -> None:
        """See whether somebody has made or withdrawn one: they are due then."""
        seen = self._store.checks.state()
        if seen != self._seen:
            self._seen = seen
            self.due_ms = now_ms

    def judge(self, now_ms: int, opened: Sequence[Event]) -> list[Event]:
        """Return the events that change, of `opened` or new; in the transaction that stores them."""
        self.due_ms = now_ms + _EVERY_MS
        return [
            event
            for spot in self._config.spots
            for event in check_events(
                spot,
                self._store.checks.of(spot),
                self._calibrations.get(spot),
                opened,
                now_ms=now_ms,
                every_days=self._config.rule_settings(spot).check_every_days,
                time_zone=self._config.bridge.time_zone,
            )
        ]
