"""The bridge: what comes in on the links is aligned, kept, judged and told.

One thread calls it.  Time comes in with the traffic, so a recorded capture goes through the same code as live
traffic and gives the same store.
"""

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from calibrate.calibration import Calibration
from exposure.events import Event
from firmware_host.batch import ReadingBatch
from firmware_host.clock import Moment
from firmware_host.messages import Hello
from firmware_host.traffic import Traffic
from ingest.attending import Attending, NoticeMessage
from ingest.audience import Audience
from ingest.config import Config
from ingest.event_record import EventMessage, EventRecord, in_order, no_longer_watched
from ingest.intake import Intake
from ingest.late_review import LateReview
from ingest.link_log import LinkLog
from ingest.links import LinkNews, Links
from ingest.live_boards import LiveBoards
from ingest.live_spots import LiveSpots
from ingest.nightly import Nightly
from ingest.states import States
from ingest.store.store import Store
from ingest.timeline import HostTimeline, Step
from ingest.upkeep import Upkeep

log = logging.getLogger("baskline.bridge")

STATE_EVERY_MS: Final = 10_000
_TICK_EVERY_MS: Final = 1_000
_BULK_COMMIT_S: Final = 600.0  # a replay may be begun anew, so it commits seldom
# So many readings wait at most, whatever the interval between commits: some 100 bytes each.
_PENDING_MOST: Final = 50_000
# Readings that came late count for the day, but counting a day anew takes a tenth of a second.
_RECOUNT_EVERY_MS: Final = 60_000


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
        notice_message: NoticeMessage | None = None,
        bulk: bool = False,
    ) -> None:
        """Begin a run at `start`.

        `event_message` makes the message that goes into the outbox with each change of an event, and
        `notice_message` that of what should reach a person; without them nobody is told.  `bulk` is for a
        replay: it commits seldom, events wait for it, and the summaries are left to `summarise_step`.
        """
        self._store = store
        self._audience = audience
        self._bulk = bulk
        self._commit_every_ms = round(1000 * (_BULK_COMMIT_S if bulk else config.bridge.commit_interval_s))
        # A capture may be older than what the store has.
        last_stored_ms = None if bulk else store.readings.last_utc_ms_any()
        self._timeline = HostTimeline(start, last_stored_ms=last_stored_ms)
        self._run_id = store.begin_run(start)
        self.n_stored = 0
        self._start = self._now = start
        self._events: list[Event] = []
        self._committed_ms = self._ticked_ms = self._recounted_ms = self._links_ticked_ms = start.mono_ms
        self._state_told_ms = start.mono_ms - STATE_EVERY_MS

        now_ms = self._timeline.now_utc_ms(start)
        known = [*store.events.open(), *store.events.causes_last()]
        opened = [event for event in known if not bulk or event.opened_ms <= now_ms]
        self._record = EventRecord(store, event_message, opened)
        self.boards = LiveBoards(config, opened, now_ms)
        self._log = LinkLog(self.boards.configured, start)
        self._live = LiveSpots(config, store, calibrations, opened, now_ms)
        if not bulk:
            self._events += no_longer_watched(opened, config, now_ms)
        self.spots = self._live.by_key
        self._review = LateReview(store, self.spots)
        self._attending = None if notice_message is None else Attending(store, config, notice_message, now_ms)
        self._nightly = Nightly(store, config, calibrations, now_ms, bulk=bulk)
        self._intake = Intake(self._timeline, self.boards, self._live, self._review, self._nightly, bulk=bulk)
        self._links = Links(config.boards.values(), self._intake.taken if bulk else self._stored)
        self._states = States(store, audience, self.spots, self.boards, self._links)
        self._upkeep = Upkeep(store, config, start, self._nightly.keep_from_ms, self._nightly.holds)

    def take(self, traffic: Iterable[Traffic]) -> None:
        """Take in what happened on the links."""
        for item in traffic:
            if item.at is not self._now:  # what one poll brings is of one moment
                self._come_to(item.at)
            for news in self._links.take(item):
                self._hear(news, item.at)
        self._judge(None if self._bulk else self._now.mono_ms)
        if self._intake.pending.n_readings >= _PENDING_MOST or (self._events and not self._bulk):
            self.commit()

    def outgoing(self) -> Iterator[tuple[int, bytes]]:
        """Yield (link, bytes) to send to the boards."""
        return self._links.outgoing()

    def tick(self, now: Moment) -> None:
        """Do what time alone makes due; cheap when nothing is."""
        self._observe_clock(now)
        self._end_days(now)
        self._tick_links(now)
        self._judge(now.mono_ms)
        if now.mono_ms - self._ticked_ms >= _TICK_EVERY_MS:
            self._ticked_ms = now.mono_ms
            self._every_second(now)
        if (self._events and not self._bulk) or now.mono_ms - self._committed_ms >= self._commit_every_ms:
            self.commit()
            self._committed_ms = now.mono_ms

    def finish(self, now: Moment) -> None:
        """Take in what still waits on the links, and store everything: the run ends."""
        try:
            for news in self._links.close(now):
                self._hear(news, now)
            self._look_back()
            self._events += self.boards.tick(self._timeline.now_utc_ms(now))
        finally:
            self.commit()
            self._log.tell_garbage()
            self._store.sync()

    def commit(self) -> None:
        """Store what has gathered, readings and events in one commit, and then tell of the events."""
        self._judge()
        if not self._intake.pending.n_readings and not self._events:
            return
        batches = self._intake.pending.to_store()
        with self._store.transaction():
            new = self._store.readings.append(batches)
            changed = self._record.put(self._events)
            self._record.forget_gone(lambda: {*self._live.causes, *self.boards.causes})
            self._attend(changed)
            for batch in batches:
                self._store.boards.seen(batch.board, int(batch.utc_ms[-1]), self.boards.ports[batch.board])
        self.n_stored += sum(map(len, new))
        self._intake.pending.stored()
        self._events.clear()
        self._tell(changed)

    def _attend(self, changed: Sequence[Event]) -> None:
        """See whether somebody should be told now, in the transaction that stores what changed."""
        now_ms = self._timeline.now_utc_ms(self._now)
        if self._attending is not None and (changed or now_ms >= self._attending.due_ms):
            self._attending.attend(changed, now_ms)

    def _tell(self, changed: Sequence[Event]) -> None:
        """Tell of events that are stored."""
        self._record.log(changed)
        for event in changed:
            for listener in self._audience:
                listener.event(event)
        if changed:
            self._state_told_ms = self._now.mono_ms - STATE_EVERY_MS  # due: what is open has changed

    def summarise_step(self, now_ms: int) -> bool:
        """Do one small step of summarising and packing; return whether there was anything to do."""
        return self._upkeep.summarise_step(now_ms)

    def now_utc_ms(self, now: Moment) -> int:
        """Return this run's idea of the time."""
        return self._timeline.now_utc_ms(now)

    # -- what the boards say

    def _hear(self, item: LinkNews, at: Moment) -> None:
        match item.news:
            case ReadingBatch() as batch:
                self.boards.ports[batch.board] = item.port
                self._events += self.boards.heard(batch.board, self._timeline.now_utc_ms(at))
                self._intake.keep(batch, self._now)
                cadence_s = self.boards.learned_cadence_s(batch.board, batch.host_ms)
                if cadence_s is not None:
                    self._judge()  # what came before it was known, by what was known
                    self._live.expect(batch.board, cadence_s)
            case Hello() as hello:
                self._judge()  # what came before it, by what was known before it
                self.boards.introduced(hello, item.port)
                self._live.expect(hello.board, hello.cadence_ms / 1000)
                self._store.boards.hello(hello, self._timeline.now_utc_ms(at), item.port)
            case news:
                self._events += self.boards.hear(news, self._timeline.now_utc_ms(at))
                self._log.hear(news, item.port)

    def _judge(self, by_ms: int | None = None) -> None:
        self._events += self._intake.judge(by_ms)

    def _stored(self, board: str, boot: str) -> list[tuple[int, int]]:
        """Return what is stored of a boot, once everything that waits is stored too."""
        self.commit()
        return list(self._store.readings.seen(board, boot))

    # -- time

    def _tick_links(self, now: Moment) -> None:
        self._links_ticked_ms = now.mono_ms
        for news in self._links.tick(now):
            self._hear(news, now)

    def _come_to(self, at: Moment) -> None:
        if at.mono_ms > self._now.mono_ms > self._links_ticked_ms:
            self._tick_links(self._now)  # also where much is taken in at once: each thing in its time
        self._now = at
        self._observe_clock(at)
        self._end_days(at)

    def _observe_clock(self, now: Moment) -> None:
        step = self._timeline.observe(now)
        if step is not None:
            self._restamp(step, now)

    def _restamp(self, step: Step, now: Moment) -> None:
        """Move this run to the better time, and judge afresh from there."""
        now_ms, started_ms = self._timeline.now_utc_ms(now), self._timeline.now_utc_ms(self._start)
        self._events += self.boards.tick(now_ms - step.delta_ms)
        self.commit()
        log.warning(
            "the system clock was set: this run's readings move with it",
            extra={"by_s": step.delta_ms / 1000, "sure": step.sure},
        )
        with self._store.transaction():
            self._store.readings.restamp(self._run_id, step.delta_ms, clock_sure=step.sure)
            self._store.boards.restamp(started_ms - step.delta_ms, step.delta_ms)
            self._record.restamp(step.delta_ms)
            self._review.restamp(step.delta_ms)
            self._live.assign(started_ms)
            self._nightly.restamp(step.delta_ms, now_ms)
            if self._attending is not None:
                self._attending.restamp(step.delta_ms, now_ms)
        self._live.restamp(step.delta_ms, now_ms, self._record)
        self.boards.restamp(step.delta_ms, self._record.latest(self.boards.open_events))

    # -- what time makes due

    def _end_days(self, now: Moment) -> None:
        """Judge a day that is over; at the same place in the traffic, live and replayed."""
        now_ms = self._timeline.now_utc_ms(now)
        if now_ms < self._nightly.due_ms or not self._nightly.is_due(now_ms):
            return
        self.commit()
        with self._store.transaction():
            changed = [
                event
                for ended in self._nightly.step(now_ms)
                for event in self._record.put(ended.events, of_this_run=ended.of_this_run)
            ]
            self._attend(changed)
        self._tell(changed)

    def _every_second(self, now: Moment) -> None:
        now_ms = self._timeline.now_utc_ms(now)
        self._events += self.boards.tick(now_ms)
        if self._intake.recount and not self._bulk and now.mono_ms - self._recounted_ms >= _RECOUNT_EVERY_MS:
            self._recounted_ms = now.mono_ms
            self.commit()
            self._live.count_day(now_ms, self._intake.recount)
            self._intake.recount.clear()
        if self._review.is_due(now):
            self._look_back()
        if self._attending is not None and now_ms >= self._attending.due_ms:
            with self._store.transaction():
                self._attend(())
        if now.mono_ms - self._state_told_ms >= STATE_EVERY_MS:
            self._state_told_ms = now.mono_ms
            self._tell_states(now_ms)
        self._log.tick(now)
        if not self._bulk:
            self._upkeep.step(now, now_ms, clock_sure=self._timeline.sure)

    def _look_back(self) -> None:
        """Judge what came late, once all of it is stored."""
        self.commit()
        self._events += in_order(self._review.judge())

    def _tell_states(self, now_ms: int) -> None:
        self._judge()
        if self._events and not self._bulk:
            self.commit()
        self._states.tell(now_ms)
