"""Readings between the links and the store: stamped with the time, judged, and waiting to be written."""

import numpy as np

from exposure.events import Event
from firmware_host.batch import ReadingBatch
from firmware_host.clock import Moment
from firmware_host.gaps import SeqRange, SeqSet
from ingest.event_record import in_order
from ingest.late_review import LateReview
from ingest.live_boards import LiveBoards
from ingest.live_spots import LiveSpots
from ingest.nightly import Nightly
from ingest.pending import Pending
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.timeline import HostTimeline


class Intake:
    """Takes in what the links deliver, in order; what came late is judged elsewhere."""

    def __init__(
        self,
        timeline: HostTimeline,
        boards: LiveBoards,
        spots: LiveSpots,
        review: LateReview,
        nightly: Nightly,
        *,
        bulk: bool,
    ) -> None:
        """`bulk` is for a replay: it remembers what it has taken in."""
        self._timeline = timeline
        self._boards = boards
        self._spots = spots
        self._review = review
        self._nightly = nightly
        self._taken: dict[tuple[str, str], SeqSet] | None = {} if bulk else None
        self._patience_ms: dict[str, int] = {}  # how long a board's readings may wait to be judged
        self.pending = Pending()
        self.recount: set[str] = set()
        """Boards of which readings came late: their day is to be counted anew."""

    def keep(self, batch: ReadingBatch, now: Moment) -> None:
        """Stamp readings by the time as it is known now, and put them on their way to the store."""
        marks = batch.marks if self._timeline.sure else batch.marks | np.uint32(CLOCK_UNSURE_MARK)
        utc_ms = self._timeline.to_utc_ms(batch.host_ms)
        stamped = StampedBatch(
            batch.board, batch.boot, batch.channels, batch.seq, utc_ms, batch.values, marks
        )
        if batch.late:  # older than what has been judged: the living watches pass it over
            self.pending.add(stamped)
            self.recount.add(batch.board)
            self._review.note(batch.board, utc_ms, now)
        else:
            self.pending.add_fresh(stamped, now.mono_ms + self._patience_ms.get(batch.board, 0))
        if utc_ms[0] < self._nightly.late_before_ms:
            self._nightly.came(batch.board, int(utc_ms[0]), self._timeline.now_utc_ms(now))
        if self._taken is not None:
            self._taken.setdefault((batch.board, batch.boot), SeqSet()).add_all(batch.seq)

    def judge(self, by_ms: int | None = None) -> list[Event]:
        """Judge the readings that have come, or what of them is due by then, each board's in one go."""
        events: list[Event] = []
        for batch in self.pending.to_judge(by_ms):
            self._boards.last_reading_ms[batch.board] = int(batch.utc_ms[-1])
            events += self._spots.take(batch)
            self._patience_ms[batch.board] = round(1000 * self._spots.patience_s(batch.board))
        return in_order(events)

    def taken(self, board: str, boot: str) -> list[SeqRange]:
        """Return what a replay has taken in of a boot: all that counts where a capture may come again."""
        taken = None if self._taken is None else self._taken.get((board, boot))
        return [] if taken is None else taken.ranges
