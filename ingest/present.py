"""What each spot and board is now, by following the store from outside the daemon.  Reads only."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Final

from calibrate.calibration import Calibration
from calibrate.samples import VALUELESS, Flag, Samples
from exposure.bands import Band
from exposure.board_watch import default_silence_s
from exposure.days import day_bounds, local_date
from exposure.events import Event
from exposure.place import Place, place_of
from exposure.segments import cadence_s, default_max_gap_s
from firmware_host.messages import Hello
from ingest.assigning import band_of_text
from ingest.config import Config
from ingest.history import NO_SAMPLES, History, joined
from ingest.mqtt.payloads import SpotState
from ingest.store.assignments import Assignment
from ingest.store.batch import StampedBatch
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.today import Today

_READINGS_AT_ONCE: Final = 20_000
# After a longer pause the day is counted from what is stored of it: that costs less than all that came since.
_FOLLOWED_MS: Final = 10 * 60_000
# From so many samples it is learned of a board that does not say it.
_LEARN_FROM: Final = 5
# As the daemon does until it knows how often a board speaks.
_SILENT_UNTIL_KNOWN_S: Final = 310.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotNow:
    """A spot: `state` is what holds now, the rest what is known of the last time that it had a value.

    `state` has None for whatever is not known now.  `last` is the newest sample with a value, (UTC ms, UVI,
    standard uncertainty, flags), however old; None if there is none in the day so far and the newest reading
    has none.  `board` and `calibration` are identities, the latter '' without one.
    """

    state: SpotState
    enclosure: str
    board: str
    calibration: str
    current: bool
    last: tuple[int, float, float, Flag] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardNow:
    """A board: when it was last heard, and whether that is longer ago than suits how often it speaks."""

    board: str
    label: str
    spots: tuple[str, ...]
    last_reading_ms: int | None
    silent: bool
    port: str | None
    hello: Hello | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomNow:
    """All of a bridge at one moment: whether a daemon holds the store, and the open events, oldest first."""

    at_ms: int
    watched: bool
    newest_ms: int | None
    spots: tuple[SpotNow, ...]
    boards: tuple[BoardNow, ...]
    events: tuple[Event, ...]

    def spot(self, key: str) -> SpotNow:
        """Return the spot of that key."""
        return next(spot for spot in self.spots if spot.state.spot == key)

    def events_of(self, spot: SpotNow) -> list[Event]:
        """Return the open events of a spot, and of the board that watches it."""
        return [event for event in self.events if event.is_of(spot.state.spot, spot.board)]


class Present:
    """Follows one store.  `store` must be of the thread that calls `look`."""

    def __init__(self, store: Store, store_file: Path, config: Config) -> None:
        self._store = store
        self._store_file = store_file
        self._config = config
        self._history = History(store)
        self._spots = {key: _Spot(key, config) for key in config.spots}
        self._position = 0
        self._looked_ms: int | None = None
        # From when on there is more of a spot than was counted: stored while somebody began to look.
        self._ahead_ms: dict[str, int] = {}
        self._revision: tuple[int, ...] = ()

    def look(self, now_ms: int) -> RoomNow:
        """Return how everything is at `now_ms`."""
        store = self._store
        revision = (*store.assignments.revision(), *store.readings.times_revision())
        followed = self._looked_ms is not None and 0 <= now_ms - self._looked_ms <= _FOLLOWED_MS
        if not followed or revision != self._revision:
            self._position = store.readings.position()
            self._recount(self._spots, now_ms)
            self._revision = revision
        else:
            self._recount(self._follow(now_ms), now_ms)
        self._looked_ms = now_ms
        events = tuple(store.events.open())
        boards = tuple(self._board(key, now_ms) for key in self._config.boards)
        return RoomNow(
            at_ms=now_ms,
            watched=is_held(self._store_file),
            newest_ms=max(
                (board.last_reading_ms for board in boards if board.last_reading_ms is not None), default=None
            ),
            spots=tuple(spot.now(now_ms, events) for spot in self._spots.values()),
            boards=boards,
            events=events,
        )

    def _follow(self, now_ms: int) -> set[str]:
        """Take in what was appended; return the spots whose day is to be counted anew after it."""
        recount = set()
        for batch in self._appended():
            for key, spot in self._spots.items():
                if spot.assignment is None or spot.assignment.board != batch.board:
                    continue
                parts = self._history.of_batch(key, batch)
                samples = joined([part for _, part in parts])
                if not spot.take(samples.between(0, now_ms + 1)):
                    recount.add(key)
                elif len(samples) and samples.utc_ms[-1] > now_ms:
                    self._ahead_ms.setdefault(key, now_ms + 1)
        recount |= {key for key, ahead_ms in self._ahead_ms.items() if ahead_ms <= now_ms}
        return recount | {key for key, spot in self._spots.items() if spot.could_learn_cadence}

    def _appended(self) -> Iterator[StampedBatch]:
        while True:
            batches, position = self._store.readings.since(self._position, _READINGS_AT_ONCE)
            if position == self._position:
                return
            self._position = position
            yield from batches

    def _recount(self, keys: Collection[str], now_ms: int) -> None:
        """Count the day anew from what is stored of it."""
        time_zone = self._config.bridge.time_zone
        day = day_bounds(local_date(now_ms, time_zone), time_zone)
        for key in keys:
            spot = self._spots[key]
            self._ahead_ms.pop(key, None)
            held = self._store.assignments.timeline(key, 0, now_ms + 1)
            assignment = held[-1].assignment if held else None
            spot.begin(assignment, self._history.calibration(assignment.calibration) if assignment else None)
            if spot.assignment is None:
                continue
            record = self._store.boards.get(spot.board)
            samples = self._history.samples(key, day.start_ms, now_ms + 1)
            if record is not None and record.hello is not None:
                spot.expect(record.hello.cadence_ms / 1000)
            elif len(samples) >= _LEARN_FROM:
                spot.expect(cadence_s(samples))
            newest_ms = self._store.readings.last_utc_ms(spot.board)
            if not len(samples) and newest_ms is not None:
                samples = self._history.samples(key, newest_ms, newest_ms + 1)
            spot.take(samples)
            ahead_ms = self._store.readings.next_utc_ms(spot.board, now_ms + 1)
            if ahead_ms is not None:
                self._ahead_ms[key] = ahead_ms

    def _board(self, key: str, now_ms: int) -> BoardNow:
        configured = self._config.boards[key]
        record = self._store.boards.get(configured.identity)
        last_ms = self._store.readings.last_utc_ms(configured.identity)
        hello = record.hello if record else None
        usual_s = default_silence_s(hello.cadence_ms / 1000) if hello else _SILENT_UNTIL_KNOWN_S
        silent_after_s = configured.silent_after_s or usual_s
        return BoardNow(
            board=configured.identity,
            label=configured.label,
            spots=tuple(spot for spot, what in self._config.spots.items() if what.board == key),
            last_reading_ms=last_ms,
            silent=last_ms is None or now_ms - last_ms > 1000 * silent_after_s,
            port=record.port if record else None,
            hello=hello,
        )


class _Spot:
    """One spot, counted from the samples that it is given."""

    def __init__(self, key: str, config: Config) -> None:
        spot = config.spots[key]
        self._key = key
        self._enclosure = spot.enclosure
        self._zone = spot.zone
        self._configured_board = config.boards[spot.board].identity
        self._configured_band = spot.band()
        self._settings_gap_s = config.rule_settings(key).max_gap_s
        self._time_zone = config.bridge.time_zone
        self.begin(None, None)

    def begin(self, assignment: Assignment | None, calibration: Calibration | None) -> None:
        """Forget all samples; from now on they are by that assignment and its calibration."""
        self.assignment = assignment
        self._calibration_until = (
            None if calibration is None else calibration.made_on + timedelta(days=calibration.valid_for_days)
        )
        self._today = Today(self._time_zone, self._settings_gap_s)
        self._max_gap_s = self._settings_gap_s
        self._knows_cadence = False
        self._n_taken = 0
        self._newest = NO_SAMPLES
        self._last: tuple[int, float, float, Flag] | None = None

    @property
    def board(self) -> str:
        return self.assignment.board if self.assignment else self._configured_board

    @property
    def band(self) -> Band:
        return band_of_text(self.assignment.band) if self.assignment else self._configured_band

    def expect(self, cadence_s: float) -> None:
        """Let silences count as suits a board that speaks so often."""
        self._knows_cadence = True
        self._today.max_gap_s = default_max_gap_s(cadence_s)
        self._max_gap_s = max(self._settings_gap_s, self._today.max_gap_s)

    @property
    def could_learn_cadence(self) -> bool:
        """Whether its board has not said how often it speaks, and by now has shown it."""
        return not self._knows_cadence and self._n_taken >= _LEARN_FROM

    def take(self, samples: Samples) -> bool:
        """Take in samples; False, and nothing taken, if they are not newer than those before."""
        if not len(samples):
            return True
        if len(self._newest) and samples.utc_ms[0] <= self._newest.utc_ms[-1]:
            return False
        self._today.add(samples)
        self._n_taken += len(samples)
        self._newest = samples.between(int(samples.utc_ms[-1]), int(samples.utc_ms[-1]) + 1)
        with_value = samples.uvi == samples.uvi
        if with_value.any():
            at = len(samples) - 1 - int(with_value[::-1].argmax())
            self._last = (
                int(samples.utc_ms[at]),
                float(samples.uvi[at]),
                float(samples.u_uvi[at]),
                Flag(int(samples.flags[at])),
            )
        return True

    def now(self, now_ms: int, events: Sequence[Event]) -> SpotNow:
        """Return how the spot is; what was last seen longer ago than a gap is not the present."""
        newest, band = self._newest, self.band
        at_ms = int(newest.utc_ms[-1]) if len(newest) else None
        current = at_ms is not None and now_ms - at_ms <= 1000 * self._max_gap_s
        flags = Flag(int(newest.flags[-1])) if len(newest) else Flag(0)
        valued = current and not flags & VALUELESS
        uvi, u_uvi = (float(newest.uvi[-1]), float(newest.u_uvi[-1])) if valued else (None, None)
        place = Place.UNKNOWN
        if uvi is not None and u_uvi is not None:
            place = place_of(uvi, u_uvi, flags, band)
        return SpotNow(
            state=SpotState(
                spot=self._key,
                at_ms=at_ms,
                uvi=uvi,
                u_uvi=u_uvi,
                flags=flags,
                place=place,
                dose_uvi_h=self._today.dose_uvi_h(now_ms),
                coverage=self._today.coverage(now_ms),
                zone=self._zone,
                band_low_uvi=band.low_uvi,
                band_high_uvi=band.high_uvi,
                ceiling_uvi=band.ceiling_uvi,
                open_events=[
                    event.kind
                    for event in events
                    if event.subject_kind == "spot" and event.subject == self._key
                ],
                day_from_ms=self._today.start_ms(now_ms),
                calibration_until=self._calibration_until,
            ),
            enclosure=self._enclosure,
            board=self.board,
            calibration=self.assignment.calibration if self.assignment else "",
            current=current,
            last=self._last,
        )
