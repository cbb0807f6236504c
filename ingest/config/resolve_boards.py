"""From the configuration's plain values to where boards are looked for."""

from firmware_host.pi_bus import PiBusSettings
from firmware_host.ports import AUTO, PortWish
from ingest.config.model import Config


def pi_bus_settings(config: Config) -> PiBusSettings | None:
    """Return how to read this computer's own bus; None where nothing hangs on it."""
    return None if config.pi_bus is None else PiBusSettings(**config.pi_bus.model_dump())


def port_wishes(config: Config) -> tuple[PortWish, ...]:
    """Return which ports to open: those of plain boards first, because their speed may differ."""
    serial = config.serial
    mappings = [board.mapping for board in config.boards.values() if board.mapping is not None]
    plain = [PortWish(m.port, m.baud or serial.baud) for m in mappings if m.port is not None]
    patterns = (AUTO,) if serial.ports == "auto" else serial.ports
    return (*plain, *(PortWish(pattern, serial.baud) for pattern in patterns))
