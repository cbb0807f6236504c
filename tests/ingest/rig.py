"""A bridge on a real store, with simulated boards on its links and a clock that moves when told.

The boards' bytes come as traffic, as from a hub, and everything that came is kept in `traffic`.
"""

from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path

import numpy as np

from calibrate.calibration import Calibration, Channel, Temperature, Uncertainty
from calibrate.models import LineModel
from calibrate.samples import Samples
from exposure.events import Event
from firmware_host.clock import ManualClock
from firmware_host.messages import Mark
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.simulated.noise import LineNoise
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic
from ingest.attending import NoticeMessage
from ingest.audience import Audience
from ingest.bridge import Bridge
from ingest.config import Config, parse_config
from ingest.day import SpotDay, spot_day
from ingest.event_record import EventMessage
from ingest.history import History
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

NOON_MS = 1_780_056_000_000  # 2026-05-29T12:00:00Z
TODAY = date(2026, 5, 29)
HOUR_MS = 3_600_000

CONFIG = """
[bridge]
site = "home"
name = "room"
time_zone = "UTC"

[board.rock]
identity = "rock-1"
label = "Behind the rock"

[enclosure.garden]
label = "Rock garden"

[lamp.tube]
kind = "t5"
installed = 2026-01-18
distance_cm = 30.0

[spot.ledge]
label = "Ledge"
enclosure = "garden"
lamp = "tube"
board = "rock"
band = { low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }
"""

DARK_COUNTS = 12.0
UVI_PER_COUNT = 0.003


def config(text: str = CONFIG) -> Config:
    return parse_config(text, file=Path("baskline.toml"))


def calibration(uvi_per_count: float = UVI_PER_COUNT) -> Calibration:
    """Return a line: counts less 12 times 0.003, known to a few percent."""
    return Calibration(
        lamp_kind="t5",
        sensor_kind="guva-s12sd",
        model=LineModel(("uva_counts",), (DARK_COUNTS,), (uvi_per_count,)),
        channels=(Channel("uva_counts", noise=1.5),),
        uvi_range=(0.0, 12.0),
        uncertainty=Uncertainty(covariance=((0.25, 0.0), (0.0, 1e-10))),
        made_on=date(2026, 5, 27),
        temperature=Temperature("temperature_c", 25.0, (5.0, 60.0), 0.0, 0.0, 0.5),
    )


def counts(uvi: float) -> float:
    return round(DARK_COUNTS + uvi / UVI_PER_COUNT)


class Board:
    """A simulated board and what it sees; `uvi` may be a function of the time on the monotonic axis."""

    def __init__(
        self,
        identity: str = "rock-1",
        *,
        uvi: float | Callable[[float], float] = 1.8,
        cadence_ms: int = 1_000,
        ring: int = 3_600,
        seed: int = 1,
        noise: LineNoise | None = None,
        units: dict[str, str] | None = None,
        replay_lines_per_s: int = 150,
    ) -> None:
        self.identity = identity
        self.uvi = uvi
        self.marks = Mark(0)
        units = {"uva_counts": "counts", "temperature_c": "degC"} if units is None else units
        self._shown = tuple(units)
        model = BoardModel(
            identity, units, cadence_ms=cadence_ms, ring=ring, replay_lines_per_s=replay_lines_per_s
        )
        self.simulated = SimulatedBoard(
            model, self._channels, seed=seed, marks_at=lambda _: self.marks, noise=noise
        )
        self.link: int | None = None

    def _channels(self, at_ms: float) -> dict[str, float]:
        uvi = self.uvi(at_ms) if callable(self.uvi) else self.uvi
        seen = {"uva_counts": counts(uvi), "temperature_c": 25.0}
        if self.marks & Mark.FAULT:
            del seen["uva_counts"]  # as the wire format asks: a failed sensor's channels are left out
            return seen
        return {name: seen.get(name, 1.0) for name in self._shown}


class PlainBoard(SimulatedBoard):
    """A board that runs the hobbyist's own sketch: it prints its numbers and hears nothing."""

    def _measure(self, at_ms: float) -> None:
        values = self._channels_at(at_ms)
        self._next_seq += 1
        self._outgoing.append(",".join(f"{value:g}" for value in values.values()).encode() + b"\r\n")

    def _say_hello(self) -> None:
        self._outgoing.append(b"my uv meter v3\r\n")

    def _answer(self, line: bytes, now_ms: int) -> None:
        pass


class Rig:
    """The clock, the boards, and the bridge while it runs."""

    def __init__(
        self,
        store_path: Path,
        *boards: Board,
        settings: Config | None = None,
        calibrations: dict[str, Calibration] | None = None,
        synchronised: bool = True,
        audience: Iterable[Audience] = (),
        event_message: EventMessage | None = None,
        notice_message: NoticeMessage | None = None,
    ) -> None:
        self.store_path = store_path
        self.settings = config() if settings is None else settings
        self.calibrations = (
            dict.fromkeys(self.settings.spots, calibration()) if calibrations is None else calibrations
        )
        self.clock = ManualClock(NOON_MS, mono_ms=10_000_000, synchronised=synchronised)
        self.boards = {board.identity: board for board in boards}
        self.audience = tuple(audience)
        self.event_message = event_message
        self.notice_message = notice_message
        self.traffic: list[Traffic] = []
        self._waiting: list[Traffic] = []
        self._links = 0

    @property
    def now_ms(self) -> int:
        return self.clock.moment().mono_ms

    def start(self) -> None:
        """Begin a run; the boards that are plugged in are found again, on new links."""
        self.store = Store.open(self.store_path)
        start = self.clock.moment()
        self.bridge = Bridge(
            self.settings,
            self.store,
            self.calibrations,
            start,
            audience=self.audience,
            event_message=self.event_message,
            notice_message=self.notice_message,
        )
        self.traffic.append(Quiet(start))
        for board in self.boards.values():
            if board.link is not None:
                self._open(board)

    def plug(self, identity: str, port: str | None = None) -> None:
        board = self.boards[identity]
        if not board.simulated.powered:
            board.simulated.start(self.now_ms)
        self._open(board, port)

    def _open(self, board: Board, port: str | None = None) -> None:
        self._links += 1
        board.link = self._links
        path = f"/dev/tty{self._links}" if port is None else port
        self._waiting.append(LinkOpened(self.clock.moment(), board.link, path, ""))

    def unplug(self, identity: str, *, keep_power: bool = False) -> None:
        board = self.boards[identity]
        assert board.link is not None
        self._waiting.append(LinkClosed(self.clock.moment(), board.link, "unplugged"))
        board.link = None
        if not keep_power:
            board.simulated.stop()

    def say(self, identity: str, data: bytes) -> None:
        """Let bytes come on a board's link that it did not send."""
        link = self.boards[identity].link
        assert link is not None
        self._waiting.append(Received(self.clock.moment(), link, data))

    def run(self, seconds: float, *, step_ms: int = 200) -> None:
        """Let time pass, in steps."""
        end_ms = self.now_ms + round(seconds * 1000)
        while self.now_ms < end_ms:
            self.clock.advance_ms(min(step_ms, end_ms - self.now_ms))
            self.step()

    def away(self, seconds: float) -> None:
        """Let time pass while no bridge runs: what the boards say is lost, but for their rings."""
        self.clock.advance_ms(round(seconds * 1000))
        for board in self.boards.values():
            board.simulated.run(self.now_ms)

    def step(self) -> None:
        """Hand over what the boards have to say now, and to them what they are asked."""
        at = self.clock.moment()
        by_link = {board.link: board for board in self.boards.values() if board.link is not None}
        for board in self.boards.values():
            data = board.simulated.run(self.now_ms)
            if data and board.link is not None:
                self._waiting.append(Received(at, board.link, data))
        traffic, self._waiting = self._waiting or [Quiet(at)], []
        self.traffic += traffic
        self.bridge.take(traffic)
        for link, request in self.bridge.outgoing():
            if link in by_link:
                by_link[link].simulated.receive(request, self.now_ms)
        self.bridge.tick(at)

    def finish(self) -> None:
        """End the run cleanly."""
        self.traffic += self._waiting
        self.bridge.take(self._waiting)
        self._waiting = []
        self.bridge.finish(self.clock.moment())
        self.store.close()

    def die(self) -> None:
        """End the run as a kill does: what was not committed is gone."""
        self._waiting = []
        self.store.close()

    # -- what was kept

    def look(self) -> Store:
        return Store.open(self.store_path, read_only=True)

    def stored(self, board: str = "rock-1") -> list[StampedBatch]:
        with self.look() as store:
            return store.readings.between(board, 0, 1 << 52)

    def seqs(self, board: str = "rock-1") -> dict[str, list[int]]:
        """Return what is stored of each boot, in the store's order, doubles and all."""
        found: dict[str, list[int]] = {}
        for batch in self.stored(board):
            found.setdefault(batch.boot, []).extend(batch.seq.tolist())
        return found

    def samples(self, spot: str = "ledge") -> Samples:
        with self.look() as store:
            return History(store).samples(spot, 0, 1 << 52)

    def events(self) -> list[Event]:
        with self.look() as store:
            return store.events.between(0, 1 << 52)

    def day(self, spot: str = "ledge", day: date = TODAY) -> SpotDay:
        with self.look() as store:
            return day_of(store, self.settings, spot, day)


def day_of(store: Store, settings: Config, spot: str = "ledge", day: date = TODAY) -> SpotDay:
    place = settings.spots[spot]
    return spot_day(
        store,
        spot,
        day,
        board=settings.boards[place.board].identity,
        time_zone=settings.bridge.time_zone,
        band_now=place.band(),
    )


def every_reading(store: Store, boards: Iterable[str]) -> dict[tuple[str, str, int], tuple[object, ...]]:
    """Return everything stored of each reading, by what names it for ever."""
    found: dict[tuple[str, str, int], tuple[object, ...]] = {}
    for board in boards:
        for batch in store.readings.between(board, 0, 1 << 52):
            for index, seq in enumerate(batch.seq.tolist()):
                row = batch.values[index]
                shown = tuple(
                    (name, value)
                    for name, value in zip(batch.channels, row.tolist(), strict=True)
                    if not np.isnan(value)
                )
                key = (board, batch.boot, seq)
                assert key not in found, f"{key} is stored twice"
                found[key] = (int(batch.utc_ms[index]), shown, int(batch.marks[index]))
    return found
