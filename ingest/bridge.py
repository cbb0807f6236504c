"""The bridge: what comes in on the links is aligned, kept, judged and told.

One thread calls it.  Time comes in with the traffic, so a recorded capture goes through the same code as live
traffic and gives the same store.
"""

import logging
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Final, Protocol

import numpy as np

from calibrate.calibration import Calibration
from exposure.days import day_bounds, local_date
from exposure.events import Event
from firmware_host.batch import ReadingBatch
from firmware_host.clock import Moment
from firmware_host.messages import Garbage, Hello
from firmware_host.news import BoardIdentified, BootReused, ClockAnomaly, Lost, Rebooted
from firmware_host.traffic import Traffic
from ingest.assigning import record_assignments
from ingest.config import Config
from ingest.history import History
from ingest.links import LinkNews, Links
from ingest.live_boards import LiveBoards
from ingest.live_spot import LiveSpot
from ingest.mqtt.payloads import BoardState, Change, SpotState
from ingest.pending import joined
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from ingest.summaries import Summariser
from ingest.timeline import HostTimeline, Step

log = logging.getLogger("baskline.bridge")

STATE_EVERY_MS: Final = 10_000
_TICK_EVERY_MS: Final = 1_000
# A line between the last sample of a minute and the next one needs that next one: wait for it.
_SUMMARISE_AFTER_MS: Final = 5 * 60_000
_SUMMARISE_EVERY_MS: Final = 60_000  # once all is done; else a step each second
# What a power cut can lose of readings, and a board with a ring that kept its power says again.  Flushing a
# memory card takes up to a tenth of a second and wears it; events are flushed with their own commit.
_SYNC_EVERY_MS: Final = 30_000
_FORGET_EVERY_MS: Final = 3_600_000
_DAY_MS: Final = 86_400_000
_BULK_COMMIT_S: Final = 600.0  # a replay may be begun anew, so it commits seldom
_GARBAGE_EVERY_MS: Final = 60_000
# So many readings wait at most, whatever the interval between commits: some 100 bytes each.
_PENDING_MOST: Final = 50_000


class Audience(Protocol):
    """Somebody who is told what happens, after it is in the store."""

    def event(self, event: Event) -> None:
        """Hear of an event that has changed."""

    def open_events(self, events: Sequence[Event], now_ms: int) -> None:
        """Hear which events are open."""

    def spot(self, state: SpotState) -> None:
        """Hear how a spot is."""

    def board(self, state: BoardState) -> None:
        """Hear how a board is."""


EventMessage = Callable[[Event, Change], OutgoingMessage]


class Bridge:
    """Reads, keeps and judges for one configuration."""

    def __init__(
        self,
        config: Config,
        store: Store,
        calibrations: Mapping[str, Calibration],
        start: Moment,
        *,
        audience: Sequence[Audience] = (),
        event_message: EventMessage | None = None,
        bulk: bool = False,
    ) -> None:
        """Begin a run at `start`.

        `event_message` makes the message that goes into the outbox with each change of an event; without it
        nobody is told.  `bulk` is for a replay: it commits seldom, events wait for it, and the summaries are
        left to `summarise_step`.
        """
        self._config = config
        self._store = store
        self._calibrations = calibrations
        self._audience = audience
        self._event_message = event_message
        self._bulk = bulk
        self._commit_every_ms = round(1000 * (_BULK_COMMIT_S if bulk else config.bridge.commit_interval_s))
        self._timeline = HostTimeline(start, last_stored_ms=store.readings.last_utc_ms_any())
        self._run_id = store.begin_run(start)
        self.n_stored = 0
        self._start = start
        self._links = Links(config.boards.values(), self._stored)
        self._summariser = Summariser(store)
        self._fresh: list[ReadingBatch] = []
        self._pending: list[StampedBatch] = []
        self._n_pending = 0
        self._events: list[Event] = []
        self._garbage: Counter[tuple[str, str]] = Counter()
        self._unknown_told: set[str] = set()
        self._committed_ms = self._ticked_ms = self._garbage_ms = self._forgot_ms = start.mono_ms
        self._state_told_ms = start.mono_ms - STATE_EVERY_MS
        self._summarise_due_ms = self._synced_ms = start.mono_ms

        opened = store.events.open()
        now_ms = self._timeline.now_utc_ms(start)
        self.spots = {
            key: LiveSpot(
                key,
                config,
                calibrations.get(key),
                open_events=opened,
                judged_to_ms=store.readings.last_utc_ms(config.boards[spot.board].identity),
            )
            for key, spot in config.spots.items()
        }
        self._spots_of: dict[str, list[LiveSpot]] = {}
        for spot in self.spots.values():
            self._spots_of.setdefault(spot.board, []).append(spot)
        self.boards = LiveBoards(config, opened, now_ms)
        record_assignments(store, config, calibrations, now_ms)
        self._recall_today(now_ms)

    def take(self, traffic: Iterable[Traffic]) -> None:
        """Take in what happened on the links."""
        for item in traffic:
            self._observe_clock(item.at)
            for news in self._links.take(item):
                self._hear(news, item.at)
        self._judge()
        if self._n_pending >= _PENDING_MOST or (self._events and not self._bulk):
            self.commit()

    def outgoing(self) -> Iterator[tuple[int, bytes]]:
        """Yield (link, bytes) to send to the boards."""
        return self._links.outgoing()

    def tick(self, now: Moment) -> None:
        """Do what time alone makes due; cheap when nothing is."""
        self._observe_clock(now)
        for news in self._links.tick(now):
            self._hear(news, now)
        self._judge()
        if now.mono_ms - self._ticked_ms >= _TICK_EVERY_MS:
            self._ticked_ms = now.mono_ms
            self._every_second(now)
        if (self._events and not self._bulk) or now.mono_ms - self._committed_ms >= self._commit_every_ms:
            self.commit()
            self._committed_ms = now.mono_ms

    def finish(self, now: Moment) -> None:
        """Take in what still waits on the links, and store everything: the run ends."""
        for news in self._links.close(now):
            self._hear(news, now)
        self.commit()
        self._store.sync()

    def commit(self) -> None:
        """Store what has gathered, readings and events in one commit, and then tell of the events."""
        self._judge()
        if not self._pending and not self._events:
            return
        changed: list[Event] = []
        with self._store.transaction():
            new = self._store.readings.append(joined(self._pending))
            for event in self._events:
                stored = self._store.events.put(event)
                if stored is not None:
                    changed.append(stored)
                    self._post(stored)
            for board in {batch.board for batch in self._pending}:
                self._store.boards.seen(board, self._newest_ms(board), self.boards.ports[board])
        self.n_stored += sum(map(len, new))
        self._pending.clear()
        self._events.clear()
        self._n_pending = 0
        self._tell_events(changed)

    def _tell_events(self, changed: Sequence[Event]) -> None:
        for event in changed:
            log.info(
                event.sentence,
                extra={
                    "event": event.identity,
                    "severity": event.severity.value,
                    "change": change_of(event).value,
                },
            )
            for listener in self._audience:
                listener.event(event)

    def summarise_step(self, now_ms: int) -> bool:
        """Do one small step of summarising and packing; return whether there was anything to do."""
        did = self._summariser.step(before_ms=now_ms - _SUMMARISE_AFTER_MS)
        return self._store.readings.compact(now_ms) or did

    def now_utc_ms(self, now: Moment) -> int:
        """Return this run's idea of the time."""
        return self._timeline.now_utc_ms(now)

    # -- what the boards say

    def _hear(self, item: LinkNews, at: Moment) -> None:
        match item.news:
            case ReadingBatch():
                self.boards.ports[item.news.board] = item.port
                self._fresh.append(item.news)
            case Hello() as hello:
                self.boards.introduced(hello, item.port)
                self._store.boards.hello(hello, self._timeline.now_utc_ms(at), item.port)
            case BoardIdentified(board, boot):
                log.info("board identified", extra={"board": board, "port": item.port, "boot": boot})
                self._tell_unknown(board)
            case Rebooted(board, _, boot):
                log.warning("board started again", extra={"board": board, "port": item.port, "boot": boot})
            case Lost(board, boot, first, last):
                self.boards.lost(board, last - first + 1)
                log.warning(
                    "readings lost: they did not come and the board can no longer repeat them",
                    extra={"board": board, "boot": boot, "first_seq": first, "last_seq": last},
                )
            case Garbage() as garbage:
                self._garbage[item.port, garbage.reason] += garbage.n_bytes
            case ClockAnomaly(board, boot, jump):
                log.warning(
                    "the board's own time jumped",
                    extra={"board": board, "boot": boot, "fault": jump.fault.value, "by_ms": jump.by_ms},
                )
            case BootReused(board, boot):
                log.error(
                    "the board started again under its old boot number: its readings cannot be told apart",
                    extra={
                        "board": board,
                        "boot": boot,
                        "do": "let its program draw a new boot number at each start",
                    },
                )

    def _judge(self) -> None:
        """Stamp and judge the readings that have come, each board's in one go; keep them for the store."""
        if not self._fresh:
            return
        fresh, self._fresh = self._fresh, []
        events: list[Event] = []
        for batch in joined([self._stamped(batch) for batch in fresh if not batch.late]):
            self._keep(batch)
            events += self.boards.heard(batch.board, batch.utc_ms)
            for spot in self._spots_of.get(batch.board, ()):
                events += spot.take(batch)
        # Late readings are older than what has been judged: they are for the record, and change no event.
        for batch in joined([self._stamped(batch) for batch in fresh if batch.late]):
            self._keep(batch)
        self._events += sorted(events, key=changed_ms)

    def _stamped(self, batch: ReadingBatch) -> StampedBatch:
        marks = batch.marks if self._timeline.sure else batch.marks | np.uint32(CLOCK_UNSURE_MARK)
        utc_ms = self._timeline.to_utc_ms(batch.host_ms)
        return StampedBatch(batch.board, batch.boot, batch.channels, batch.seq, utc_ms, batch.values, marks)

    def _keep(self, batch: StampedBatch) -> None:
        self._pending.append(batch)
        self._n_pending += len(batch)

    def _newest_ms(self, board: str) -> int:
        return max(int(batch.utc_ms[-1]) for batch in self._pending if batch.board == board)

    def _stored(self, board: str, boot: str) -> list[tuple[int, int]]:
        """Return what is stored of a boot, once everything that waits is stored too."""
        self.commit()
        return list(self._store.readings.seen(board, boot))

    def _tell_unknown(self, board: str) -> None:
        if board not in self.boards.configured and board not in self._unknown_told:
            self._unknown_told.add(board)
            log.warning(
                "this board is not in the configuration: its readings are kept, but belong to no spot",
                extra={
                    "board": board,
                    "do": f'add a table [board.NAME] with identity = "{board}", and a spot',
                },
            )

    # -- time

    def _observe_clock(self, now: Moment) -> None:
        step = self._timeline.observe(now)
        if step is not None:
            self._restamp(step, now)

    def _restamp(self, step: Step, now: Moment) -> None:
        """Move this run to the better time, and judge afresh from there."""
        self.commit()
        log.warning(
            "the system clock was set: this run's readings move with it",
            extra={"by_s": step.delta_ms / 1000, "sure": step.sure},
        )
        self._store.readings.restamp(self._run_id, step.delta_ms, clock_sure=step.sure)
        started_ms = self._timeline.now_utc_ms(self._start)
        record_assignments(self._store, self._config, self._calibrations, started_ms)
        for spot in self.spots.values():
            spot.restamp(step.delta_ms)
        self.boards.restamp(step.delta_ms)
        self._recall_today(self._timeline.now_utc_ms(now))

    def _recall_today(self, now_ms: int) -> None:
        """Count the day's samples that were stored before."""
        day = day_bounds(local_date(now_ms, self._config.bridge.time_zone), self._config.bridge.time_zone)
        history = History(self._store)
        for spot in self.spots.values():
            spot.recall(history.samples(spot.key, day.start_ms, now_ms))

    # -- what time makes due

    def _every_second(self, now: Moment) -> None:
        now_ms = self._timeline.now_utc_ms(now)
        self._events += self.boards.tick(now_ms)
        if now.mono_ms - self._state_told_ms >= STATE_EVERY_MS:
            self._state_told_ms = now.mono_ms
            self._tell_states(now_ms)
        if now.mono_ms - self._garbage_ms >= _GARBAGE_EVERY_MS:
            self._garbage_ms = now.mono_ms
            self._tell_garbage()
        if not self._bulk:
            self._look_after_store(now, now_ms)

    def _look_after_store(self, now: Moment, now_ms: int) -> None:
        if now.mono_ms - self._synced_ms >= _SYNC_EVERY_MS:
            self._synced_ms = now.mono_ms
            self._store.sync()
        if now.mono_ms >= self._summarise_due_ms and not self.summarise_step(now_ms):
            self._summarise_due_ms = now.mono_ms + _SUMMARISE_EVERY_MS
        keep_days = self._config.bridge.raw_keep_days
        if (
            keep_days is not None
            and now.mono_ms - self._forgot_ms >= _FORGET_EVERY_MS
            and self._timeline.sure
        ):
            self._forgot_ms = now.mono_ms
            self._store.readings.forget_before(now_ms - keep_days * _DAY_MS)

    def _tell_states(self, now_ms: int) -> None:
        connected = self._links.boards()
        opened = self._store.events.open()  # asked anew: somebody may have acknowledged one from elsewhere
        for listener in self._audience:
            listener.open_events(opened, now_ms)
            for spot in self.spots.values():
                listener.spot(spot.state(now_ms))
            for board in self.boards.configured:
                listener.board(self.boards.state(board, connected=board in connected))

    def _tell_garbage(self) -> None:
        for (port, reason), n_bytes in self._garbage.items():
            log.warning(
                "bytes that made no sense", extra={"port": port, "reason": reason, "n_bytes": n_bytes}
            )
        self._garbage.clear()

    def _post(self, event: Event) -> None:
        if self._event_message is not None:
            message = self._event_message(event, change_of(event))
            self._store.outbox.put(message, changed_ms(event))


def change_of(event: Event) -> Change:
    """Return what has happened to an event last; one that ends as it begins has only happened."""
    if event.closed_ms is not None and event.closed_ms != event.opened_ms:
        return Change.CLOSED
    return Change.OPENED if event.acknowledged_ms is None else Change.ACKNOWLEDGED


def changed_ms(event: Event) -> int:
    """Return when an event changed last."""
    return max(event.opened_ms, event.acknowledged_ms or 0, event.closed_ms or 0)
