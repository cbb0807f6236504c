"""A spot under watch: samples in, events out.  No clock: time comes with the samples."""

import math
from collections.abc import Sequence

import numpy as np

from calibrate.arrays import IntArray
from calibrate.samples import Flag, Samples
from exposure.bands import Band
from exposure.events import Event, EventKind
from exposure.flicker_watch import FlickerWatch
from exposure.held_events import BY_FLAGS, OFF_BY_DAY, ON_AT_NIGHT
from exposure.lamp_light import OwnLight, Photoperiod
from exposure.limit_events import ABOVE, OVER, UNDER
from exposure.limit_watch import limit_watch, over_ceiling, too_high, too_low
from exposure.one_event import causes_of, to_go_on_with, watch_of
from exposure.rules import RuleSettings
from exposure.segments import BoolArray, default_max_gap_s, valued
from exposure.signal_watch import Signals, SignalWatch
from exposure.stuck_watch import StuckWatch
from exposure.watch_parts import Changes, add_changes, held_watch, in_place_at, part_of, silences_ms

_LONG_AGO_MS = 1 << 60
# Arrays of this length stay in the processor's cache; a longer batch is judged in blocks.
_BLOCK = 8192


class SpotWatch:
    """Judges one spot's samples, in time order, against its band, its lamp's times and their own flags.

    Over the ceiling: opens when the UVI is really over it (UVI - k·u) for a minute, or at twice the ceiling
    for twenty seconds, severity now; or when it is over it by the best estimate for a quarter of an hour,
    severity today, which becomes now once it is really over.  Above the band: really, for half an hour,
    while it is not over the ceiling.  Under the band: really, for a quarter of an hour, while the lamp burns
    and should be up to its strength.  Each closes when the UVI is beyond doubt back for five minutes; if it
    then lies in the band, a note says so.  A night does not close what is wrong by day: the last two close
    only under a lamp that burns at its strength, so that a lamp that hangs wrong is one event, not one a day.

    With a photoperiod: the lamp dark by day, or lit at night, for twenty minutes.  Without one too: it
    flickers; the sensor is stuck, saturated, too hot or cold, under dark or without a value; its calibration
    is missing, of another kind of lamp or out of date.  The times are the defaults of `RuleSettings`.

    Where the calibration extrapolates, what that adds to the doubt is not taken off before a value counts as
    too high, and the sentence says so.  Samples flagged as "at least" may open what says too much and cannot
    close it; they may close what says too little and cannot open it.  Samples without a value say nothing of
    the UVI.  Samples not newer than the newest seen are passed over: they were judged, or came too late to
    matter.

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
        corrected: Flag = Flag(0),  # noqa: B008 - a number that nobody can change
        reach_uvi: float = math.inf,
        lamp_cm: float | None = None,
    ) -> None:
        """Take up `open_events` where an earlier watch of the spot left off, open or closed by hand.

        `frontier_ms`: the time of the newest sample that was judged before, if any.  `corrected`: flags of
        which the calibration of the spot has taken care, so that they are no event.  `reach_uvi`: beyond it
        the calibration extrapolates.  `lamp_cm`: how far the lamp hangs, for the advice.
        """
        self._reach_uvi = reach_uvi
        self._counting = ~int(corrected)
        self._band = band
        self._settings = settings
        self._frontier_ms = -_LONG_AGO_MS if frontier_ms is None else frontier_ms
        self._last_valued_ms = self._last_ms = self._frontier_ms
        self._own_light = OwnLight(settings)
        self._photoperiod = None if settings.lit_from_minute is None else Photoperiod(settings)
        by_kind = to_go_on_with(open_events, spot)

        self._over = limit_watch(
            OVER,
            spot,
            band.ceiling_uvi,
            band,
            settings,
            by_kind,
            holds_s=(
                settings.far_hold_s,
                settings.over_hold_s,
                settings.over_hold_s,
                settings.probably_over_hold_s,
            ),
            lamp_cm=lamp_cm,
        )
        self._above = limit_watch(
            ABOVE,
            spot,
            band.high_uvi,
            band,
            settings,
            by_kind,
            holds_s=(settings.above_hold_s, settings.above_hold_s),
            end_words=("over the ceiling now, which is an event of its own",),
            lamp_cm=lamp_cm,
        )
        self._under = limit_watch(
            UNDER,
            spot,
            band.low_uvi,
            band,
            settings,
            by_kind,
            holds_s=(settings.under_hold_s,),
        )
        self._off_by_day = held_watch(
            OFF_BY_DAY, spot, settings, by_kind, settings.lamp_late_s, end_words=("the photoperiod ended",)
        )
        self._on_at_night = held_watch(
            ON_AT_NIGHT, spot, settings, by_kind, settings.lamp_late_s, end_words=("the photoperiod began",)
        )
        self._flicker = FlickerWatch(spot, settings, by_kind.get(EventKind.LAMP_FLICKERS))
        self._stuck = StuckWatch(spot, settings, by_kind.get(EventKind.SENSOR_STUCK))
        self._flagged = tuple(
            (int(mask), held_watch(held, spot, settings, by_kind, settings.sensor_hold_s))
            for mask, held in BY_FLAGS
        )
        self._watches: tuple[SignalWatch | FlickerWatch | StuckWatch, ...] = (
            self._over,
            self._above,
            self._under,
            self._off_by_day,
            self._on_at_night,
            self._flicker,
            self._stuck,
            *(watch for _, watch in self._flagged),
        )

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The events now open, in their latest version."""
        return tuple(watch.open_event for watch in self._watches if watch.open_event is not None)

    @property
    def causes(self) -> list[str]:
        """The identities of the events whose cause lasts, also of those that were closed by hand."""
        return causes_of(self._watches)

    @property
    def patience_s(self) -> float:
        """How long samples may wait to be judged without an alarm coming later for it.

        None can come sooner after the first sample over the ceiling than after the shortest hold; but once
        one is over it, each counts.
        """
        settings = self._settings
        holds_s = (settings.far_hold_s, settings.over_hold_s, settings.probably_over_hold_s)
        return min(holds_s) if self._over.quiet else 0.0

    @property
    def frontier_ms(self) -> int | None:
        """The time of the newest sample judged; None before the first."""
        return None if self._frontier_ms == -_LONG_AGO_MS else self._frontier_ms

    def acknowledge(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as acknowledged, and remember it; None if it is not open."""
        watch = watch_of(identity, self._watches)
        return None if watch is None else watch.acknowledge(at_ms)

    def close(self, identity: str, at_ms: int) -> Event | None:
        """Return the open event of that identity as closed by hand; None if it is not open."""
        watch = watch_of(identity, self._watches)
        return None if watch is None else watch.close(at_ms)

    def expect(self, cadence_s: float) -> None:
        """Let silences count from now on after what suits a board that speaks so often.

        Over `max_gap_s` of the settings a hold runs on in any case.
        """
        max_gap_s = max(self._settings.max_gap_s, default_max_gap_s(cadence_s))
        for part in (self._own_light, *self._watches):
            part.expect(max_gap_s)

    def restamp(self, step_ms: int, open_events: Sequence[Event] = ()) -> None:
        """Move along when the host's clock was stepped: all times before it now read `step_ms` later.

        `open_events`: as they are on record since; those of this spot are gone on with.
        """
        for event in open_events:
            for watch in self._watches:
                watch.take_up(event)
        for name in ("_frontier_ms", "_last_valued_ms", "_last_ms"):
            if getattr(self, name) != -_LONG_AGO_MS:
                setattr(self, name, getattr(self, name) + step_ms)
        self._own_light.restamp(step_ms)
        for watch in self._watches:
            watch.restamp(step_ms)

    def observe(self, samples: Samples) -> list[Event]:
        """Judge samples and return the events that changed, in order, each in its new version.

        A change that comes twice in one batch is there twice.
        """
        fresh = self._fresh(samples)
        changes: Changes = []
        for begin in range(0, len(fresh), _BLOCK):
            changes += self._block(part_of(fresh, begin, begin + _BLOCK) if len(fresh) > _BLOCK else fresh)
        return [event for _, event in changes]

    def _fresh(self, samples: Samples) -> Samples:
        """Return the samples that are newer than any before."""
        if len(samples) == 0 or samples.utc_ms[-1] <= self._frontier_ms:
            return part_of(samples, 0, 0)
        if samples.utc_ms[0] <= self._frontier_ms:
            first = int(np.searchsorted(samples.utc_ms, self._frontier_ms, "right"))
            samples = part_of(samples, first, len(samples))
        self._frontier_ms = int(samples.utc_ms[-1])
        return samples

    def _block(self, samples: Samples) -> Changes:
        """Return the changes in a block of samples by the time at which they come."""
        changes: Changes = []
        flags = int(np.bitwise_or.reduce(samples.flags)) & self._counting
        self._judge_flags(samples, flags, changes)
        good = valued(samples)
        if len(good):
            silence_ms = silences_ms(good.utc_ms, self._last_valued_ms)
            self._last_valued_ms = int(good.utc_ms[-1])
            self._judge_uvi(good, silence_ms, changes)
        if len(changes) > 1:
            changes.sort(key=lambda change: change[0])
        return changes

    def _judge_flags(self, samples: Samples, flags: int, changes: Changes) -> None:
        silence_ms = None
        for mask, watch in self._flagged:
            if flags & mask or not watch.quiet:
                if silence_ms is None:
                    silence_ms = silences_ms(samples.utc_ms, self._last_ms)
                flagged = (samples.flags & np.uint32(mask & self._counting)) != 0
                add_changes(
                    changes, samples, watch.follow(samples, silence_ms, Signals((flagged,), ~flagged))
                )
        self._last_ms = int(samples.utc_ms[-1])

    def _judge_uvi(self, samples: Samples, silence_ms: IntArray, changes: Changes) -> None:
        uvi, n = samples.uvi, len(samples)
        dark = uvi <= self._settings.dark_uvi

        was_over = self._over.event is not None
        over = uvi > self._band.ceiling_uvi
        over_turns: Sequence[tuple[int, bool]] = ()
        if not self._over.quiet or over.any():
            signals = over_ceiling(samples, self._band.ceiling_uvi, self._settings, self._reach_uvi)
            add_changes(changes, samples, self._over.follow(samples, silence_ms, signals))
            over_turns = self._over.turns
        settled = self._own_light.settled(samples.utc_ms, dark, silence_ms)
        if self._band.high_uvi < self._band.ceiling_uvi:
            above = uvi > self._band.high_uvi
            if not self._above.quiet or above.any():
                covered = in_place_at(over_turns, n, was_in_place=was_over)
                beyond = too_high(samples, self._band.high_uvi, self._settings, self._reach_uvi)
                signals = Signals(beyond.grades, beyond.back & settled, (covered,))
                add_changes(changes, samples, self._above.follow(samples, silence_ms, signals))
        if self._band.low_uvi > 0:
            under = uvi < self._band.low_uvi
            if not self._under.quiet or (under & settled).any():
                signals = too_low(samples, self._band.low_uvi, self._settings, settled)
                add_changes(changes, samples, self._under.follow(samples, silence_ms, signals))
        if self._photoperiod is not None:
            self._judge_times(samples, silence_ms, dark, self._photoperiod.lit(samples.utc_ms), changes)
        add_changes(changes, samples, self._flicker.follow(samples, silence_ms, dark))
        add_changes(changes, samples, self._stuck.follow(samples, silence_ms))

    def _judge_times(
        self, samples: Samples, silence_ms: IntArray, dark: BoolArray, day: BoolArray, changes: Changes
    ) -> None:
        """Judge the lamp by the clock; `day` is when it should be lit."""
        dark_by_day = dark & day
        if not self._off_by_day.quiet or dark_by_day.any():
            back = samples.uvi - self._settings.k_back * samples.u_uvi > self._settings.dark_uvi
            signals = Signals((dark_by_day,), back, (~day,))
            add_changes(changes, samples, self._off_by_day.follow(samples, silence_ms, signals))
        if not self._on_at_night.quiet or not day.all():
            lit = samples.uvi - self._settings.k * samples.u_uvi > self._settings.dark_uvi
            if not self._on_at_night.quiet or lit.any():
                signals = Signals((lit,), dark, (day,))
                add_changes(changes, samples, self._on_at_night.follow(samples, silence_ms, signals))
