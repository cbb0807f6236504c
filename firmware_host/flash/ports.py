"""What is on each serial port, as far as it says without being disturbed."""

import enum
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from firmware_host.clock import Clock
from firmware_host.hub import SerialHub
from firmware_host.lines import excerpt
from firmware_host.messages import Garbage, Hello, Reading
from firmware_host.ports import Port, PortError
from firmware_host.traffic import LinkOpened, Received
from firmware_host.wire import WireParser, encode_hello_request

# A board that restarts when its port opens is at work, or at its prompt, within about 2 s.
_LISTEN_S: Final = 4.0
_ASK_EVERY_MS: Final = 1_000
# MicroPython answers a return with its prompt.  To a program that runs there it is an empty line: none is
# stopped, as Ctrl-C would.
_QUESTION: Final = encode_hello_request() + b"\r"
_PROMPT: Final = b">>> "
_TAIL_BYTES: Final = 200


class Occupant(enum.Enum):
    """Who is on a port."""

    OURS = "ours"
    PROMPT = "prompt"
    OTHER = "other"
    SILENT = "silent"
    UNUSABLE = "unusable"


@dataclass(slots=True)
class PortLook:
    """What a look at one port found."""

    port: Port
    occupant: Occupant = Occupant.SILENT
    board: str = ""
    hello: Hello | None = None
    excerpt: str = ""
    problem: PortError | None = None


@dataclass(slots=True)
class _Conversation:
    look: PortLook
    asked_ms: int
    parser: WireParser = field(default_factory=WireParser)
    tail: bytes = b""


def look_at_ports(
    find_ports: Callable[[], Iterable[Port]], clock: Clock, *, listen_s: float = _LISTEN_S
) -> list[PortLook]:
    """Open every port, ask who is there, and return what was heard; soon where all have answered."""
    looks = {port.path: PortLook(port) for port in find_ports()}
    hub = SerialHub(lambda: [look.port for look in looks.values()], clock)
    links: dict[int, _Conversation] = {}
    ends_ms = clock.moment().mono_ms + round(listen_s * 1000)
    try:
        while clock.moment().mono_ms < ends_ms and any(_is_open(look) for look in looks.values()):
            for item in hub.poll(0.1):
                if isinstance(item, LinkOpened):
                    links[item.link] = _Conversation(looks[item.port], item.at.mono_ms - _ASK_EVERY_MS)
                elif isinstance(item, Received):
                    _listen(links[item.link], item.data)
            for problem in hub.take_problems():
                look = looks[problem.port]
                look.occupant, look.problem = Occupant.UNUSABLE, problem.error
            now_ms = clock.moment().mono_ms
            for link, talk in links.items():
                if _is_open(talk.look) and now_ms - talk.asked_ms >= _ASK_EVERY_MS:
                    talk.asked_ms = now_ms
                    hub.send(link, _QUESTION)
    finally:
        hub.close()
    return list(looks.values())


def _is_open(look: PortLook) -> bool:
    """Whether there is still something to be learnt about a port."""
    if look.occupant is Occupant.OURS:
        return look.hello is None
    return look.occupant in (Occupant.SILENT, Occupant.OTHER)


def _listen(talk: _Conversation, data: bytes) -> None:
    look = talk.look
    talk.tail = (talk.tail + data)[-_TAIL_BYTES:]
    for message in talk.parser.feed(data):
        match message:
            case Hello():
                look.occupant, look.board, look.hello = Occupant.OURS, message.board, message
            case Reading():
                look.occupant, look.board = Occupant.OURS, message.board
            case Garbage() if message.excerpt.strip():
                look.excerpt = message.excerpt
    if look.occupant is Occupant.OURS:
        return
    if talk.tail.endswith(_PROMPT):
        look.occupant = Occupant.PROMPT
    elif talk.tail.strip():
        look.occupant = Occupant.OTHER
        look.excerpt = look.excerpt or excerpt(talk.tail)
