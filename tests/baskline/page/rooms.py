"""A room of five spots that the page is tried on: each stands differently, and the clock is in our hands."""

import re
import socket
import threading
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import numpy as np
import uvicorn
from httpx import Response
from starlette.applications import Starlette

from baskline.page.app import PAGES, create_app
from baskline.page.desk import Desk
from baskline.page.gate import Gate
from baskline.page.secrets import Secrets
from baskline.page.serving import page_of
from baskline.scenario import build, give_past
from calibrate.calibration_file import format_calibration
from exposure.events import Event, EventKind
from exposure.kinds import new_event
from firmware_host.clock import Clock, ManualClock
from firmware_host.messages import Hello
from ingest.assigning import read_calibrations, record_assignments
from ingest.config import Config, load_config
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.ingest.rig import NOON_MS, calibration, counts

with warnings.catch_warnings():
    # Newer ones would rather have another HTTP library beside them; this one serves them as well.
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

CADENCE_MS: Final = 2_000
LEVELS: Final[Mapping[str, float]] = {"ledge": 2.0, "fern": 3.6, "moss": 0.4, "bark": 0.0, "cave": 0.5}

_CONFIG = """
[bridge]
site = "test"
name = "room"
time_zone = "Europe/Vienna"

[enclosure.garden]
label = "Rock garden"
species = "Pogona vitticeps"

[enclosure.wall]
label = "Green wall"

[lamp.tube]
kind = "t5"
installed = 2026-01-18
distance_cm = 30.0
"""
_SPOT = """
[board.{key}]
identity = "{key}-1"
label = "Board at {label}"

[spot.{key}]
label = "{label}"
enclosure = "{enclosure}"
lamp = "tube"
board = "{key}"
band = {{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 3.0 }}
{calibration}
"""
_SPOTS = {
    "ledge": ("Slate ledge", "garden", True),
    "fern": ("Fern crown", "wall", True),
    "moss": ("Moss pad", "wall", True),
    "bark": ("Cork bark", "wall", True),
    "cave": ("Cave mouth", "garden", False),
}


class PageRoom:
    """The room's folder and its store, held as a daemon would; `clock` is the page's too."""

    def __init__(self, folder: Path, *, page: str = "") -> None:
        self.config_file = folder / "baskline.toml"
        (folder / "tube.toml").write_text(format_calibration(calibration()))
        spots = (
            _SPOT.format(
                key=key,
                label=label,
                enclosure=enclosure,
                calibration='calibration = "tube.toml"' if calibrated else "",
            )
            for key, (label, enclosure, calibrated) in _SPOTS.items()
        )
        self.config_file.write_text(_CONFIG + "".join(spots) + page)
        self.clock = ManualClock(NOON_MS)
        self.levels = dict(LEVELS)
        self._seq = dict.fromkeys(LEVELS, 0)
        self._opened: Store | None = None

    @property
    def config(self) -> Config:
        return load_config(self.config_file)

    @property
    def store(self) -> Store:
        assert self._opened is not None, "nobody watches"
        return self._opened

    @property
    def now_ms(self) -> int:
        return self.clock.moment().wall_ms

    def watch(self) -> None:
        """Be the daemon: take the store's lock, say what applies, and introduce the boards."""
        self._opened = store = Store.open(self.config.bridge.store)
        store.begin_run(self.clock.moment())
        record_assignments(store, self.config, read_calibrations(self.config), self.now_ms)
        with store.transaction():
            for key in LEVELS:
                self.introduce(key)

    def introduce(self, key: str, *, sensor: str = "guva-s12sd") -> None:
        """Let a board say what it is."""
        hello = Hello(f"{key}-1", "0a1b2c3d", "test-1", sensor, _CHANNELS, _UNITS, CADENCE_MS, 360)
        self.store.boards.hello(hello, self.now_ms, f"/dev/ttyACM{len(key)}")

    def skip(self, key: str, readings: int) -> None:
        """Let some readings of a board never come."""
        self._seq[key] += readings

    def stop_watching(self) -> None:
        self.store.close()
        self._opened = None

    def pass_s(self, seconds: float, *, silent: tuple[str, ...] = ()) -> None:
        """Let time pass, with a reading each two seconds at all spots but the silent ones."""
        times = np.arange(self.now_ms, self.now_ms + round(1000 * seconds), CADENCE_MS, dtype=np.int64)
        self.store.readings.append(
            [self._batch(key, times + CADENCE_MS) for key in self.levels if key not in silent]
        )
        self.clock.advance_ms(round(1000 * seconds))

    def happen(self, kind: EventKind, spot: str, sentence: str) -> Event:
        """Open an event now."""
        event = new_event(kind, spot, self.now_ms, sentence, {})
        self.store.events.put(event)
        return event

    def _batch(self, key: str, times: "np.ndarray") -> StampedBatch:
        first = self._seq[key]
        self._seq[key] += len(times)
        values = np.tile([counts(self.levels[key]), 25.0], (len(times), 1))
        return StampedBatch(
            board=f"{key}-1",
            boot="0a1b2c3d",
            channels=_CHANNELS,
            seq=np.arange(first, first + len(times), dtype=np.int64),
            utc_ms=times,
            values=values,
            marks=np.zeros(len(times), np.uint32),
        )

    def app(self, *, may_change: bool = True) -> Starlette:
        """The application on this room."""
        return app_on(self.config, self.clock, may_change=may_change)


class PastRoom:
    """The demo's room with its eight weeks, at three in the afternoon; its store is held as by a daemon."""

    def __init__(self, folder: Path) -> None:
        scenario = build(folder)
        self.config = load_config(scenario.config_file)
        self.clock = ManualClock(scenario.day.start_ms + 15 * 3_600_000)
        self.store = Store.open(self.config.bridge.store)
        give_past(self.store, scenario, until_ms=self.clock.moment().wall_ms)

    def app(self, *, may_change: bool = True) -> Starlette:
        """The application on this room."""
        return app_on(self.config, self.clock, may_change=may_change)


def app_on(config: Config, clock: Clock, *, may_change: bool) -> Starlette:
    """The application on a room."""
    page = page_of(config)
    desk = Desk(config, config.bridge.store, clock, may_change=may_change)
    gate = Gate(page, Secrets.read(page), clock)
    app = create_app(desk, gate, PAGES)
    app.state.gate = gate
    return app


_CHANNELS = ("uva_counts", "temperature_c")
_UNITS = ("counts", "degC")


class RunningPage:
    """The page on a real port, served by a thread."""

    def __init__(self, room: PageRoom | PastRoom, *, may_change: bool = True) -> None:
        # As `listening` makes the page's own: with one of no protocol each answer waits 40 ms for Nagle.
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.listen(128)
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(
            room.app(may_change=may_change),
            log_config=None,
            lifespan="on",
            ws="none",
            timeout_graceful_shutdown=1,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [self._socket]})

    def __enter__(self) -> "RunningPage":
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self.stop()

    def stop(self) -> None:
        """End it; again changes nothing."""
        self._server.should_exit = True
        self._thread.join(20)
        self._socket.close()


class Visitor(TestClient):
    """A browser without a screen: keeps cookies, and takes the forms' word along."""

    def __init__(self, app: Starlette, *, address: str = "127.0.0.1", **options: object) -> None:
        super().__init__(
            app,
            base_url="http://localhost:8765",
            client=(address, 50_000),
            follow_redirects=False,
            raise_server_exceptions=False,
            **options,  # type: ignore[arg-type]
        )

    def from_address(self, address: str) -> None:
        """Come from another address from now on."""
        self._transport.client = (address, 50_000)  # type: ignore[attr-defined]

    def word(self, page: str = "/login") -> str:
        """The word in the forms of a page."""
        found = re.search(r'name="form_word" value="(\w+)"', self.get(page).text)
        assert found is not None
        return found[1]

    def word_of_session(self) -> str:
        """The word of this visitor's session, also where no page shows it in a form."""
        assert isinstance(self.app, Starlette)
        word = self.app.state.gate.sessions.form_word(next(iter(self.cookies.values())))
        assert isinstance(word, str)
        return word

    def submit(self, path: str, page: str = "/login", **fields: str) -> Response:
        """Send a form as the page itself would."""
        return self.post(path, data={"form_word": self.word(page), **fields})

    def sign_in(self, password: str) -> Response:
        return self.submit("/login", password=password)
