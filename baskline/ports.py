"""The ports of the configured room, the computer's own I²C bus among them."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import TypeAlias

from calibrate.errors import KeeperError
from firmware_host.clock import Clock
from firmware_host.pi_bus import PiBusBoard
from firmware_host.ports import AUTO, Port, PortWish, find_ports
from ingest.config import Config
from ingest.config.resolve_boards import pi_bus_settings, port_wishes

FindPorts: TypeAlias = Callable[[], Sequence[Port]]


@contextmanager
def ports_of(
    config: Config | None, clock: Clock, report: Callable[[KeeperError], None]
) -> Iterator[FindPorts]:
    """Give what finds the ports of `config`, or every port without one.

    `report` is told what keeps the computer's own bus from being a board.
    """
    wishes = (PortWish(AUTO),) if config is None else port_wishes(config)
    pi_bus = None if config is None else pi_bus_settings(config)
    with ExitStack() as stack:
        own = []
        if pi_bus is not None:
            try:
                own.append(stack.enter_context(PiBusBoard(pi_bus, clock, report)).port)
            except KeeperError as error:
                report(error)
        yield lambda: [*find_ports(wishes), *own]
