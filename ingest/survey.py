"""A look at the ports: who is there, and what does it say?  For `baskline boards` and `baskline check`."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from calibrate.arrays import FloatArray
from firmware_host.batch import ReadingBatch
from firmware_host.clock import Clock
from firmware_host.hub import PortProblem, SerialHub
from firmware_host.messages import Garbage, Hello
from firmware_host.news import BoardIdentified
from firmware_host.ports import Port
from ingest.config import Config
from ingest.links import Links

# To MicroPython's prompt our question is a line of Python with an error in it.
_OF_A_PROMPT = ("Traceback (most recent call last)", ">>> ")


@dataclass(slots=True)
class FoundBoard:
    """A board that was heard."""

    board: str
    port: str
    hello: Hello | None = None
    n_readings: int = 0
    latest: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Survey:
    """What a look at the ports found.

    `garbage` counts bytes that made no sense, by port; on `prompts` MicroPython's prompt answered.
    """

    ports: list[Port] = field(default_factory=list)
    boards: dict[str, FoundBoard] = field(default_factory=dict)
    problems: list[PortProblem] = field(default_factory=list)
    garbage: Counter[str] = field(default_factory=Counter)
    prompts: set[str] = field(default_factory=set)

    def silent_ports(self) -> list[Port]:
        """Return the ports that opened and from which no board was heard."""
        heard = {board.port for board in self.boards.values()}
        broken = {problem.port for problem in self.problems}
        return [port for port in self.ports if port.path not in heard and port.path not in broken]


def survey(
    find_ports: Callable[[], Iterable[Port]], config: Config | None, clock: Clock, *, listen_s: float
) -> Survey:
    """Open every port, listen for `listen_s`, and return what was heard.

    Ends early once each port has a board that has introduced itself and sent a reading.
    """
    found = Survey(ports=list(find_ports()))
    plain_boards = [] if config is None else config.boards.values()
    links = Links(plain_boards, stored=lambda _board, _boot: [])
    hub = SerialHub(find_ports, clock)
    try:
        ends_ms = clock.moment().mono_ms + round(listen_s * 1000)
        while clock.moment().mono_ms < ends_ms and not _complete(found):
            for item in hub.poll(0.2):
                for each in links.take(item):
                    _note(found, each.port, each.news)
            for each in links.tick(clock.moment()):
                _note(found, each.port, each.news)
            for link, data in links.outgoing():
                hub.send(link, data)
            found.problems += hub.take_problems()
    finally:
        hub.close()
    return found


def _complete(found: Survey) -> bool:
    known = [board for board in found.boards.values() if board.hello is not None and board.n_readings]
    return len(known) + len(found.problems) >= len(found.ports)


def _note(found: Survey, port: str, news: object) -> None:
    match news:
        case BoardIdentified(board, _):
            found.boards.setdefault(board, FoundBoard(board, port))
        case Hello():
            found.boards.setdefault(news.board, FoundBoard(news.board, port)).hello = news
        case ReadingBatch():
            heard = found.boards.setdefault(news.board, FoundBoard(news.board, port))
            heard.n_readings += len(news)
            heard.latest = _row(news.channels, news.values[-1])
        case Garbage():
            found.garbage[port] += news.n_bytes
            if news.excerpt.startswith(_OF_A_PROMPT):
                found.prompts.add(port)


def _row(channels: tuple[str, ...], values: FloatArray) -> dict[str, float]:
    return dict(zip(channels, values.tolist(), strict=True))
