"""The boards that answer now, for whoever sets a room up."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from baskline.first_hour.asking import NONE_WORDS, AnswerError, Asking
from baskline.ports import ports_of
from calibrate.errors import KeeperError
from firmware_host.clock import Clock
from firmware_host.ports import PortWish, find_ports
from ingest.config import Config
from ingest.store.lock import is_held
from ingest.survey import FoundBoard, Survey, survey

_LISTEN_S: Final = 12.0
_SKIP: Final = "skip"


@dataclass(frozen=True, slots=True)
class Heard:
    """A board that answered.  `sensors` are the prefixes of its UV sensors, '' where it has only one."""

    identity: str
    port: str
    channels: tuple[str, ...]
    sensors: tuple[str, ...]


class BoardsNow:
    """Looks at the ports.  `pattern` is where the keeper said boards are, '' for every USB port."""

    def __init__(self, config: Config | None, clock: Clock) -> None:
        self._config = config
        self._clock = clock
        self.pattern = ""
        self.heard: dict[str, Heard] = {}

    def look(self, asking: Asking, known: Mapping[str, str]) -> Sequence[Heard]:
        """Return the boards that answer and are not known, looking as often as the keeper wants."""
        if self._config is not None and is_held(self._config.bridge.store):
            asking.talk.say(
                "   `baskline run` is running and holds the ports: to add a board or a spot, stop it first.",
                hang=3,
            )
            return ()
        while True:
            found = self._survey(asking)
            self.heard = {board.board: _heard(board) for board in found.boards.values()}
            new = [heard for identity, heard in self.heard.items() if identity not in known]
            there = [identity for identity in self.heard if identity in known]
            if there:
                asking.talk.say(f"   Known already: {', '.join(there)}.", hang=3)
            if new or (there and self._config is not None):
                return new
            port = "a port such as /dev/serial0, " if self._config is None else ""
            said = asking.ask(
                f"Enter to look again, {port}or skip",
                self._where,
                why="No board answers. Plug one in by a data cable; a new one needs `baskline flash` first.",
            )
            if said == _SKIP:
                return ()
            self.pattern = said or self.pattern

    def _where(self, given: str) -> str:
        """Read nothing, `skip`, or a path; an existing file says by itself where its boards are."""
        if given.casefold() in (_SKIP, "s", *NONE_WORDS):
            return _SKIP
        if given and (self._config is not None or not given.startswith("/")):
            raise AnswerError(f"{given!r} is neither", remedy="Press Enter, or type skip")
        return given

    def _survey(self, asking: Asking) -> Survey:
        asking.talk.say(f"   Listening for up to {_LISTEN_S:g} s.", hang=3)

        def troubled(error: KeeperError) -> None:
            asking.talk.say(f"   {error}", hang=3)

        if self.pattern:
            wishes = [PortWish(self.pattern)]
            found = survey(lambda: find_ports(wishes), self._config, self._clock, listen_s=_LISTEN_S)
        else:
            with ports_of(self._config, self._clock, troubled) as ports:
                found = survey(ports, self._config, self._clock, listen_s=_LISTEN_S)
        for problem in found.problems:
            asking.talk.say(f"   {problem.port}  {problem.error.what}. {problem.error.remedy}", hang=6)
        for port in found.silent_ports():
            said = "talks, but not as a baskline board: ingest/CONFIG.md, mapping, or `baskline flash`"
            quiet = "says nothing: `baskline flash` shows what it is"
            asking.talk.say(f"   {port.path}  {said if found.garbage[port.path] else quiet}", hang=6)
        return found


def _heard(board: FoundBoard) -> Heard:
    channels = tuple(board.latest) or (board.hello.channels if board.hello is not None else ())
    sensors = tuple(sorted({name.partition(".")[0] for name in channels if "." in name}))
    return Heard(board.board, board.port, channels, sensors or ("",))
