"""How the Pi's own bus is to be read, and what the Pi calls itself there."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from firmware_host.pi_bus.wires import PiBusError

SERIAL_NUMBER_FILES: Final = (
    Path("/proc/device-tree/serial-number"),
    Path("/sys/firmware/devicetree/base/serial-number"),
)


@dataclass(frozen=True, slots=True)
class PiBusSettings:
    """`bus` as in /dev/i2c-1; `sensor` and `cadence_ms` as a board's own settings.

    `identity`: what this board calls itself; None makes it from the Pi's serial number.
    """

    bus: int = 1
    sensor: str = "auto"
    cadence_ms: int = 1000
    identity: str | None = None


def identity_of(settings: PiBusSettings, files: Sequence[Path] = SERIAL_NUMBER_FILES) -> str:
    """Return the board's identity: the one given, else one from the Pi's serial number."""
    if settings.identity is not None:
        return settings.identity
    for file in files:
        try:
            text = file.read_text(encoding="ascii", errors="ignore")
        except OSError:
            continue
        number = re.sub(r"[^0-9a-z]", "", text.casefold())[:28]
        if number.strip("0"):
            return f"pi-{number}"
    raise PiBusError(
        "this computer tells no serial number to name the board by",
        where="pi_bus.identity",
        remedy='Give it a name in the configuration, for example: identity = "pi-shelf"',
    )
