"""A spot under watch: samples in, events out.  No clock: time comes with the samples."""

from collections.abc import Sequence

import numpy as np

from calibrate.samples import AT_LEAST, Samples
from exposure.bands import Band
from exposure.events import Event
from exposure.lamp_light import lamp_light
from exposure.limit_events import OVER, UNDER, Side
from exposure.limit_watch import LimitWatch, Signals
from exposure.rules import RuleSettings
from exposure.segments import BoolArray, default_max_gap_s, valued

_LONG_AGO_MS = 1 << 60


class SpotWatch:
    """Judges one spot's samples, in time order, against its band.

    Over the ceiling: opens when the UVI is really over it (UVI - k·u) for a minute, severity now; or when
    it is over it by the best estimate for a quarter of an hour, severity today, which becomes now once it
    is really over.  Under the band: opens when the UVI is really under it for a quarter of an hour while
    the lamp should be up to its strength.  Each closes when the UVI is beyond doubt back for five minutes
    (under the band also when the lamp goes off); if it then lies in the band, a note says so.  The times
    are the defaults of `RuleSettings`.

    Samples flagged as "at least" may open the first and cannot close it; they may close the second and
    cannot open it.  Samples without a value do nothing.  Samples not newer than the newest seen are
    passed over: they were judged, or came too late to matter.

    Feeding the same samples one by one or in any batches gives the same events.
    """

    def __init__(
        self,
        spot: str,
        band: Band,
        settings: RuleSettings,
        open_events: Sequence[Event] = (),
        *,
        frontier_ms: int | None = None,
    ) -> None:
        """Take up `open_events` where an earlier watch of the spot left off.

        `frontier_ms`: the time of the newest sample that was judged before, if any.
        """
        self._band = band
        self._settings = settings
        self._frontier_ms = -_LONG_AGO_MS if frontier_ms is None else frontier_ms
        self._last_valued_ms = -_LONG_AGO_MS
        self._lamp = lamp_light(settings)
        open_by_kind = {event.kind: event for event in open_events if event.is_open and event.subject == spot}

        def limit_watch(side: Side, limit_uvi: float) -> LimitWatch:
            event = open_by_kind.get(side.kind)
            return LimitWatch(
                side, spot, limit_uvi, band, settings, off_words=self._lamp.off_words, event=event
            )

        self._over = limit_watch(OVER, band.ceiling_uvi)
        self._under = limit_watch(UNDER, band.low_uvi)

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The events now open, in their latest version."""
        return tuple(watch.event for watch in (self._over, self._under) if watch.event is not None)

    @property
    def frontier_ms(self) -> int | None:
        """The time of the newest sample judged; None before the first."""
        return None if self._frontier_ms == -_LONG_AGO_MS else self._frontier_ms

    def acknowledge(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as acknowledged, and remember it; None if it is not open."""
        for watch in (self._over, self._under):
            if watch.event is not None and watch.event.identity == identity:
                return watch.acknowledge(at_ms)
        return None

    def expect(self, cadence_s: float) -> None:
        """Let silences count from now on after what suits a board that speaks so often.

        Over `max_gap_s` of the settings a hold runs on in any case.
        """
        max_gap_s = max(self._settings.max_gap_s, default_max_gap_s(cadence_s))
        for part in (self._lamp, self._over, self._under):
            part.expect(max_gap_s)

    def restamp(self, step_ms: int, open_events: Sequence[Event] = ()) -> None:
        """Move along when the host's clock was stepped: all times before it now read `step_ms` later.

        `open_events`: as they are on record since; those of this spot are gone on with.
        """
        for event in open_events:
            self._over.take_up(event)
            self._under.take_up(event)
        if self._frontier_ms != -_LONG_AGO_MS:
            self._frontier_ms += step_ms
        if self._last_valued_ms != -_LONG_AGO_MS:
            self._last_valued_ms += step_ms
        for part in (self._lamp, self._over, self._under):
            part.restamp(step_ms)

    def observe(self, samples: Samples) -> list[Event]:
        """Judge samples and return the events that changed, in order, each in its new version.

        A change that comes twice in one batch is there twice.
        """
        fresh = self._fresh(samples)
        if len(fresh) == 0:
            return []
        silence_ms = np.empty(len(fresh), np.int64)
        silence_ms[0] = fresh.utc_ms[0] - self._last_valued_ms
        silence_ms[1:] = fresh.utc_ms[1:] - fresh.utc_ms[:-1]
        self._last_valued_ms = int(fresh.utc_ms[-1])
        changes: list[tuple[int, Event]] = []
        over = fresh.uvi > self._band.ceiling_uvi
        if not self._over.quiet or over.any():
            changes += self._over.follow(fresh, silence_ms, self._over_signals(fresh, over))
        if self._band.low_uvi > 0:
            settled, off = self._lamp.judge(fresh.utc_ms, fresh.uvi, silence_ms)
            under = fresh.uvi < self._band.low_uvi
            if not self._under.quiet or under.any():
                changes += self._under.follow(fresh, silence_ms, self._under_signals(fresh, settled, off))
                changes.sort(key=lambda change: change[0])
        return [event for _, event in changes]

    def _fresh(self, samples: Samples) -> Samples:
        """Return the samples with a value that are newer than any before."""
        if len(samples) == 0 or samples.utc_ms[-1] <= self._frontier_ms:
            return _from(samples, len(samples))
        if samples.utc_ms[0] <= self._frontier_ms:
            samples = _from(samples, int(np.searchsorted(samples.utc_ms, self._frontier_ms, "right")))
        self._frontier_ms = int(samples.utc_ms[-1])
        return valued(samples)

    def _over_signals(self, samples: Samples, over: BoolArray) -> Signals:
        ceiling_uvi = self._band.ceiling_uvi
        at_least = (samples.flags & np.uint32(AT_LEAST)) != 0
        return Signals(
            really=samples.uvi - self._settings.k * samples.u_uvi > ceiling_uvi,
            probably=over,
            back=(samples.uvi + self._settings.k_back * samples.u_uvi < ceiling_uvi) & ~at_least,
            off=np.zeros(len(samples), np.bool_),
        )

    def _under_signals(self, samples: Samples, settled: BoolArray, off: BoolArray) -> Signals:
        low_uvi = self._band.low_uvi
        at_least = (samples.flags & np.uint32(AT_LEAST)) != 0
        return Signals(
            really=(samples.uvi + self._settings.k * samples.u_uvi < low_uvi) & settled & ~at_least,
            probably=np.zeros(len(samples), np.bool_),
            back=samples.uvi - self._settings.k_back * samples.u_uvi > low_uvi,
            off=off,
        )


def _from(samples: Samples, first: int) -> Samples:
    return Samples(samples.utc_ms[first:], samples.uvi[first:], samples.u_uvi[first:], samples.flags[first:])
