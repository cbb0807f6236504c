"""The boards as they are now: where they are connected, when they were last heard, what they lost."""

from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np

from calibrate.arrays import IntArray
from exposure.board_watch import BoardWatch, default_silence_s
from exposure.events import Event, EventKind
from firmware_host.messages import Hello
from firmware_host.news import BoardIdentified, BootReused, ClockAnomaly, Lost, News, Rebooted
from ingest.config import Config
from ingest.mqtt.payloads import BoardState

# Until it is known how often a board speaks; one in five minutes is the slowest of which a day can be made.
_SILENT_UNTIL_KNOWN_S: Final = 310.0
# From so many readings it is learned for a board that does not say it, as one that prints plain lines.
_LEARN_FROM: Final = 5


class LiveBoards:
    """What is known of each board in this run; only configured ones are missed when they fall silent."""

    def __init__(self, config: Config, opened: Sequence[Event], now_ms: int) -> None:
        self.configured = tuple(board.identity for board in config.boards.values())
        self.last_reading_ms: dict[str, int] = {}
        self.ports: dict[str, str] = {}
        self._hellos: dict[str, Hello] = {}
        self._first_ms: dict[str, list[int]] = {}  # of boards that have not said how often they speak
        self._lost: Counter[str] = Counter()
        self._boots: dict[str, str] = {}
        self._silent_after_s = {
            board.identity: board.silent_after_s for board in config.boards.values() if board.silent_after_s
        }
        self._watches = {
            board.identity: BoardWatch(
                board.identity,
                silent_after_s=self._silent_after_s.get(board.identity, _SILENT_UNTIL_KNOWN_S),
                started_ms=now_ms,
                open_events=opened,
                # One that prints plain lines may have been on all along: only its port is seen to go.
                restart_words="started again" if board.mapping is None else "came back on its port",
            )
            for board in config.boards.values()
        }

    def introduced(self, hello: Hello, port: str) -> None:
        """Note what a board says of itself."""
        self._hellos[hello.board] = hello
        self.ports[hello.board] = port
        self._first_ms.pop(hello.board, None)
        self._expect(hello.board, hello.cadence_ms / 1000)

    def learned_cadence_s(self, board: str, host_ms: IntArray) -> float | None:
        """Take in the times of readings; return how often the board speaks, once, when they first tell it."""
        if board in self._hellos:
            return None
        first_ms = self._first_ms.setdefault(board, [])
        if len(first_ms) >= _LEARN_FROM:
            return None
        first_ms += host_ms[: _LEARN_FROM - len(first_ms)].tolist()
        if len(first_ms) < _LEARN_FROM:
            return None
        cadence_s = float(np.median(np.diff(first_ms))) / 1000
        self._expect(board, cadence_s)
        return cadence_s

    def _expect(self, board: str, cadence_s: float) -> None:
        watch = self._watches.get(board)
        if watch is not None and board not in self._silent_after_s:
            watch.expect(default_silence_s(cadence_s))

    def heard(self, board: str, at_ms: int) -> list[Event]:
        """Note that readings came in, whenever they were made; return the events that change by it."""
        watch = self._watches.get(board)
        return watch.heard(at_ms) if watch is not None else []

    def hear(self, news: News, at_ms: int) -> list[Event]:
        """Take notice of what else is heard of a board; return the events that change by it."""
        board = getattr(news, "board", None)
        watch = None if board is None else self._watches.get(board)
        if watch is None:
            return []
        match news:
            case BoardIdentified(board, boot) | Rebooted(board, _, boot):
                # A board whose power fails comes back on a new link.
                known, self._boots[board] = self._boots.get(board, boot), boot
                return watch.started_again(at_ms) if boot != known else []
            case BootReused(_, boot):
                return watch.started_under_old_boot(boot, at_ms)
            case ClockAnomaly():
                return watch.clock_jumped(at_ms)
            case Lost(board, _, first_seq, last_seq):
                self._lost[board] += last_seq - first_seq + 1
        return []

    def close(self, identity: str, at_ms: int) -> None:
        """Take note that somebody has closed an event."""
        for watch in self._watches.values():
            watch.close(identity, at_ms)

    def tick(self, now_ms: int) -> list[Event]:
        """Return the events that change by silence."""
        return [event for watch in self._watches.values() for event in watch.tick(now_ms)]

    @property
    def open_events(self) -> tuple[Event, ...]:
        """The boards' own events that have not closed."""
        return tuple(event for watch in self._watches.values() for event in watch.open_events)

    @property
    def causes(self) -> list[str]:
        """The identities of the boards' own events of which the cause lasts."""
        return [identity for watch in self._watches.values() for identity in watch.causes]

    def restamp(self, delta_ms: int, opened: Sequence[Event]) -> None:
        """Move along with this run's readings to a better time; `opened` as they are now on record."""
        self.last_reading_ms = {board: ms + delta_ms for board, ms in self.last_reading_ms.items()}
        for watch in self._watches.values():
            watch.restamp(delta_ms, opened)

    def state(self, board: str, open_kinds: Sequence[EventKind], *, connected: bool) -> BoardState:
        """Return the state of a configured board to tell."""
        hello = self._hellos.get(board)
        return BoardState(
            board=board,
            connected=connected,
            port=self.ports.get(board),
            firmware=hello.firmware if hello else None,
            sensor=hello.sensor if hello else None,
            last_reading_ms=self.last_reading_ms.get(board),
            lost_readings=self._lost[board],
            open_events=open_kinds,
        )
