"""The Pi's own I²C bus as a board without a microcontroller.

The boards' own program runs here, in a thread, on a stand-in for the microcontroller: so chips, tables,
arithmetic and marks are the same by being the same, and a chip that is added for boards is there for the Pi.
It speaks the wire format through a pseudo-terminal, which the serial hub reads like any board's port: gaps,
replay, captures and silence work as they do for a cable.
"""

from firmware_host.pi_bus.board import PiBusBoard
from firmware_host.pi_bus.settings import PiBusSettings
from firmware_host.pi_bus.wires import PiBusError

__all__ = ["PiBusBoard", "PiBusError", "PiBusSettings"]
