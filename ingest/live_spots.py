"""All spots of a bridge: which readings concern which, and what the store knows of them."""

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from calibrate.calibration import Calibration
from exposure.days import day_bounds, local_date
from exposure.events import Event
from ingest.assigning import record_assignments
from ingest.config import Config
from ingest.event_record import EventRecord
from ingest.history import History
from ingest.live_spot import LiveSpot
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

# Many readings at once cost little more to judge than one.  But nobody waits longer than this: it is as long
# as readings usually wait to be written, and what is written is judged.
_PATIENCE_MOST_S: Final = 2.0


class LiveSpots:
    """The spots by their keys and by their boards."""

    def __init__(
        self,
        config: Config,
        store: Store,
        calibrations: Mapping[str, Calibration],
        opened: Sequence[Event],
        now_ms: int,
    ) -> None:
        """Take up where an earlier run left off; from `now_ms` on the configuration holds."""
        self._config = config
        self._store = store
        self._calibrations = calibrations
        self.by_key = {
            key: LiveSpot(
                key,
                config,
                calibrations.get(key),
                open_events=opened,
                judged_to_ms=self._judged_to_ms(config.boards[spot.board].identity, now_ms),
            )
            for key, spot in config.spots.items()
        }
        self._of: dict[str, list[LiveSpot]] = {}
        for spot in self.by_key.values():
            self._of.setdefault(spot.board, []).append(spot)
        self.assign(now_ms)
        self.count_day(now_ms)

    def expect(self, board: str, cadence_s: float) -> None:
        """Take note of how often a board speaks."""
        for spot in self._of.get(board, ()):
            spot.expect(cadence_s)

    def take(self, batch: StampedBatch) -> list[Event]:
        """Take in readings; return the events that change by them."""
        return [event for spot in self._of.get(batch.board, ()) for event in spot.take(batch)]

    @property
    def causes(self) -> list[str]:
        """The identities of the spots' events of which the cause lasts."""
        return [identity for spot in self.by_key.values() for identity in spot.causes]

    def patience_s(self, board: str) -> float:
        """Return how long a board's readings may wait to be judged without an alarm coming later for it."""
        return min([_PATIENCE_MOST_S, *(spot.patience_s for spot in self._of.get(board, ()))])

    def restamp(self, step_ms: int, now_ms: int, record: EventRecord) -> None:
        """Move along with the run's readings, which are stored with their better times by now."""
        for spot in self.by_key.values():
            spot.restamp(step_ms, record.latest(spot.open_events))
        self.count_day(now_ms)

    def count_day(self, now_ms: int, boards: Collection[str] | None = None) -> None:
        """Count the day anew from what is stored of it, for the spots of some boards or for all."""
        time_zone = self._config.bridge.time_zone
        day = day_bounds(local_date(now_ms, time_zone), time_zone)
        history = History(self._store)
        for spot in self.by_key.values():
            if boards is None or spot.board in boards:
                spot.recall(history.samples(spot.key, day.start_ms, now_ms + 1))

    def assign(self, from_ms: int) -> None:
        """Let the configuration hold from `from_ms` on, and let each spot know since when it has held."""
        record_assignments(self._store, self._config, self._calibrations, from_ms)
        for spot in self.by_key.values():
            spot.holds_from_ms = self._store.assignments.timeline(spot.key, 0, from_ms + 1)[-1].from_ms

    def _judged_to_ms(self, board: str, now_ms: int) -> int | None:
        """Return up to when earlier runs have judged a board's readings.

        Not beyond now: an earlier run's clock may have been ahead, and what comes now must be judged.
        """
        last_ms = self._store.readings.last_utc_ms(board)
        return None if last_ms is None else min(last_ms, now_ms)
