"""One spot as it is now: its latest sample, its place in the band, its day's dose, its open events."""

import math
from collections.abc import Sequence
from datetime import timedelta

from calibrate.calibration import Calibration
from calibrate.samples import Flag, Samples
from exposure.events import Event, EventKind
from exposure.place import Place, place_of
from exposure.segments import default_max_gap_s
from exposure.watch import SpotWatch
from ingest.config import Config
from ingest.derive import derive_samples
from ingest.history import NO_SAMPLES
from ingest.mqtt.payloads import SpotState
from ingest.store.batch import StampedBatch
from ingest.today import Today


class LiveSpot:
    """Turns its board's readings into samples, events and a state."""

    def __init__(
        self,
        key: str,
        config: Config,
        calibration: Calibration | None,
        *,
        open_events: Sequence[Event],
        judged_to_ms: int | None,
    ) -> None:
        """Take up where an earlier run left off: its open events, and the newest reading that it judged."""
        spot = config.spots[key]
        self.key = key
        self.enclosure = spot.enclosure
        self.board = config.boards[spot.board].identity
        self._sensor = spot.sensor
        self._calibration = calibration
        self._calibration_until = (
            None if calibration is None else calibration.made_on + timedelta(days=calibration.valid_for_days)
        )
        lamp = config.lamps[spot.lamp]
        self._lamp_kind, self._lamp_cm = lamp.kind, None if lamp.kind == "sun" else lamp.distance_cm
        self._zone = spot.zone
        self._band = spot.band()
        self._settings = config.rule_settings(key)
        self._time_zone = config.bridge.time_zone
        self._max_gap_s = self._settings.max_gap_s  # over which the latest sample still is the present
        self._day_gap_s = self._settings.max_gap_s  # over which the day's line is drawn
        self.holds_from_ms = 0
        """Since when the board, calibration and band of the configuration have been this spot's."""
        self.recall(NO_SAMPLES)
        self._latest = NO_SAMPLES
        self._cadence_s: float | None = None
        self._corrected = _corrected(calibration, self._lamp_kind)
        self._reach_uvi = math.inf if calibration is None else calibration.reach_uvi(self._lamp_kind)
        self._watch = SpotWatch(
            key,
            self._band,
            self._settings,
            open_events,
            frontier_ms=judged_to_ms,
            corrected=self._corrected,
            reach_uvi=self._reach_uvi,
            lamp_cm=self._lamp_cm,
        )

    def expect(self, cadence_s: float) -> None:
        """Let silences count from now on after what suits a board that speaks so often."""
        self._cadence_s = cadence_s
        self._watch.expect(cadence_s)
        self._day_gap_s = default_max_gap_s(cadence_s)
        self._max_gap_s = max(self._settings.max_gap_s, self._day_gap_s)
        self._today.max_gap_s = self._day_gap_s

    @property
    def patience_s(self) -> float:
        """How long readings may wait to be judged without an alarm coming later for it."""
        return self._watch.patience_s

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The events of the spot that have not closed."""
        return self._watch.open_events

    @property
    def causes(self) -> list[str]:
        """The identities of its events of which the cause lasts, also of those that were closed by hand."""
        return self._watch.causes

    def close(self, identity: str, at_ms: int) -> None:
        """Take note that somebody has closed an event."""
        self._watch.close(identity, at_ms)

    def restamp(self, delta_ms: int, opened: Sequence[Event]) -> None:
        """Move along with this run's readings to a better time; `opened` as they are now on record."""
        self._watch.restamp(delta_ms, opened)
        latest = self._latest
        self._latest = Samples(latest.utc_ms + delta_ms, latest.uvi, latest.u_uvi, latest.flags)

    def recall(self, samples: Samples) -> None:
        """Count the day anew from what is stored of it."""
        self._today = Today(self._time_zone, self._day_gap_s)
        if len(samples):
            self._today.add(samples)

    def take(self, batch: StampedBatch) -> list[Event]:
        """Take in readings of the spot's board; return the events that change by them.

        What a board says again of a time before it was this spot's is not this spot's.
        """
        samples = derive_samples(
            batch, sensor=self._sensor, calibration=self._calibration, lamp_kind=self._lamp_kind
        )
        if samples.utc_ms[0] < self.holds_from_ms:
            samples = samples.between(self.holds_from_ms, int(samples.utc_ms[-1]) + 1)
            if not len(samples):
                return []
        self._today.add(samples)
        self._latest = samples
        return self._watch.observe(samples)

    def judge_past(self, samples: Samples) -> list[Event]:
        """Return how events would have changed by samples of the past, by themselves."""
        watch = SpotWatch(
            self.key,
            self._band,
            self._settings,
            corrected=self._corrected,
            reach_uvi=self._reach_uvi,
            lamp_cm=self._lamp_cm,
        )
        if self._cadence_s is not None:
            watch.expect(self._cadence_s)
        return watch.observe(samples)

    @property
    def place(self) -> Place:
        """Where the latest sample stands."""
        if len(self._latest) == 0:
            return Place.UNKNOWN
        return place_of(float(self._latest.uvi[-1]), float(self._latest.u_uvi[-1]), self._flags, self._band)

    @property
    def _flags(self) -> Flag:
        return Flag(int(self._latest.flags[-1])) if len(self._latest) else Flag(0)

    def state(self, now_ms: int, open_kinds: Sequence[EventKind]) -> SpotState:
        """Return the state to tell; what was last seen longer ago than a gap is not the present.

        `open_kinds`: of all its open events, also those that its samples do not open.
        """
        known = len(self._latest) > 0
        at_ms = int(self._latest.utc_ms[-1]) if known else None
        current = at_ms is not None and now_ms - at_ms <= self._max_gap_s * 1000
        valued = current and float(self._latest.uvi[-1]) == float(self._latest.uvi[-1])
        return SpotState(
            spot=self.key,
            at_ms=at_ms,
            uvi=float(self._latest.uvi[-1]) if valued else None,
            u_uvi=float(self._latest.u_uvi[-1]) if valued else None,
            flags=self._flags,
            place=self.place if current else Place.UNKNOWN,
            dose_uvi_h=self._today.dose_uvi_h(now_ms),
            coverage=self._today.coverage(now_ms),
            zone=self._zone,
            band_low_uvi=self._band.low_uvi,
            band_high_uvi=self._band.high_uvi,
            ceiling_uvi=self._band.ceiling_uvi,
            open_events=open_kinds,
            day_from_ms=self._today.start_ms(now_ms),
            calibration_until=self._calibration_until,
        )


def _corrected(calibration: Calibration | None, lamp_kind: str) -> Flag:
    """Return the flags of which the calibration itself takes care under that kind of lamp."""
    factors = () if calibration is None else calibration.lamp_factors
    known = any(factor.lamp_kind == lamp_kind for factor in factors)
    return Flag.OTHER_LAMP_KIND if known else Flag(0)
