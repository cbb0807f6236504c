"""Live counts of boards, their noise, and their marks.  For `baskline listen` and `baskline flash`."""

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from firmware_host.batch import ReadingBatch
from firmware_host.clock import Clock
from firmware_host.hub import PortProblem, SerialHub
from firmware_host.messages import Hello, Mark
from firmware_host.ports import Port
from firmware_host.traffic import LinkClosed, LinkOpened
from ingest.config import BoardConfig
from ingest.links import LinkNews, Links

# Noise is judged over so many readings: enough for a standard deviation within a tenth of itself, few enough
# that a hand's shadow is soon forgotten.
_WINDOW: Final = 60
_POLL_S: Final = 0.2


@dataclass(frozen=True, slots=True)
class ChannelLevel:
    """A channel over the last readings that have it: the newest value, the mean, and the scatter about it.

    `noise` is the standard deviation of single readings, in the channel's unit; NaN for fewer than two.
    """

    name: str
    n: int
    latest: float
    mean: float
    noise: float
    lowest: float
    highest: float

    @property
    def noise_share(self) -> float:
        """The noise as a share of the mean; NaN where the mean is no more than zero."""
        return self.noise / self.mean if self.mean > 0 else math.nan


@dataclass(slots=True)
class HeardBoard:
    """A board as it is heard.  `marks` counts readings by mark, of all `n_readings`."""

    board: str
    port: str
    hello: Hello | None = None
    n_readings: int = 0
    marks: dict[Mark, int] = field(default_factory=lambda: dict.fromkeys(Mark, 0))
    latest_marks: Mark = field(default_factory=lambda: Mark(0))
    _values: dict[str, deque[float]] = field(default_factory=dict)

    def take(self, batch: ReadingBatch, since_ms: int) -> bool:
        """Take in what the board has measured since a time; return whether there was any such reading."""
        new = batch.host_ms >= since_ms
        if not new.any():
            return False
        marks = batch.marks[new]
        self.n_readings += len(marks)
        for mark in Mark:
            self.marks[mark] += int(np.count_nonzero(marks & int(mark)))
        self.latest_marks = Mark(int(marks[-1]))
        for column, name in enumerate(batch.channels):
            values = batch.values[new, column]
            held = self._values.setdefault(name, deque(maxlen=_WINDOW))
            held.extend(values[~np.isnan(values)].tolist())
        return True

    def levels(self) -> list[ChannelLevel]:
        """Return each channel that has had a value, in the order of the board's own lines."""
        return [_level(name, values) for name, values in self._values.items() if values]


def _level(name: str, held: deque[float]) -> ChannelLevel:
    values = np.asarray(held)
    n, lowest, highest = len(values), float(values.min()), float(values.max())
    if lowest == highest:  # exactly, where a sum would be off in its last digits
        return ChannelLevel(name, n, held[-1], lowest, 0.0 if n > 1 else math.nan, lowest, highest)
    return ChannelLevel(
        name, n, held[-1], float(values.mean()), float(np.std(values, ddof=1)), lowest, highest
    )


class Listening:
    """The ports, opened to listen; a board that was unplugged is heard again when it is back."""

    def __init__(
        self,
        find_ports: Callable[[], Iterable[Port]],
        plain_boards: Iterable[BoardConfig],
        clock: Clock,
        lost: Callable[[str], None],
    ) -> None:
        """`lost` is told the path of a port that goes away while it is listened to."""
        self.boards: dict[str, HeardBoard] = {}
        self.problems: list[PortProblem] = []
        self._clock = clock
        self._lost = lost
        self._paths: dict[int, str] = {}
        # A board plays back what it remembers from before: that is not live.
        self._since_ms = clock.moment().mono_ms
        self._links = Links(plain_boards, stored=lambda _board, _boot: [])
        self._hub = SerialHub(find_ports, clock)

    def close(self) -> None:
        """Let go of the ports."""
        self._hub.close()

    def listen(self, seconds: float | None = None) -> Iterator[HeardBoard]:
        """Yield a board each time that it has reported; end after `seconds`, or never."""
        ends_ms = None if seconds is None else self._clock.moment().mono_ms + round(seconds * 1000)
        while ends_ms is None or self._clock.moment().mono_ms < ends_ms:
            news: list[LinkNews] = []
            for item in self._hub.poll(_POLL_S):
                if isinstance(item, LinkOpened):
                    self._paths[item.link] = item.port
                elif isinstance(item, LinkClosed):
                    self._lost(self._paths.pop(item.link))
                news += self._links.take(item)
            news += self._links.tick(self._clock.moment())
            for link, data in self._links.outgoing():
                self._hub.send(link, data)
            self.problems += self._hub.take_problems()
            for each in news:
                heard = self._note(each)
                if heard is not None:
                    yield heard

    def _note(self, each: LinkNews) -> HeardBoard | None:
        """Take in one piece of news; return the board where it is a report."""
        if isinstance(each.news, Hello):
            self._board(each.news.board, each.port).hello = each.news
        elif isinstance(each.news, ReadingBatch) and not each.news.late:
            heard = self._board(each.news.board, each.port)
            return heard if heard.take(each.news, self._since_ms) else None
        return None

    def _board(self, board: str, port: str) -> HeardBoard:
        heard = self.boards.setdefault(board, HeardBoard(board, port))
        heard.port = port
        return heard
