"""A bus of the kernel with simulated chips on it, in place of smbus2's; its messages are smbus2's own."""

import errno
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from smbus2 import i2c_msg

from firmware_host.clock import Clock, mono_us
from tests.hardware.stand_in.simulated_chips import KINDS

_BUS_HZ = 100_000  # the Pi's own, unless its configuration says otherwise
_READ_FLAG = 0x0001  # I2C_M_RD of linux/i2c.h


@dataclass
class Chips:
    """What hangs on the bus; a test may change it at any time."""

    clock: Clock
    device: Path
    chips: dict[int, Any] = field(default_factory=dict)
    silent: set[int] = field(default_factory=set)
    touched: set[int] = field(default_factory=set)
    opened: list[int] = field(default_factory=list)
    n_open: int = 0

    def add(self, address: int, kind: str, **light: float) -> None:
        """Put a chip on the bus, or change the light that falls on it."""
        if address not in self.chips:
            self.chips[address] = KINDS[kind]()
        self.chips[address].light = light

    def smbus(self, bus: int) -> "SimulatedSmbus":
        """Open the bus, as smbus2.SMBus does."""
        self.opened.append(bus)
        self.n_open += 1
        return SimulatedSmbus(self)


class SimulatedSmbus:
    """What of smbus2.SMBus the host uses."""

    def __init__(self, chips: Chips) -> None:
        self._chips = chips
        self.fd = os.open(chips.device, os.O_RDWR | os.O_CREAT)

    def i2c_rdwr(self, *messages: i2c_msg) -> None:
        """One transfer: a read of some bytes, a write, or a write of a register's number and a read."""
        address = messages[0].addr
        self._chips.touched.add(address)
        chip = self._chips.chips.get(address)
        if chip is None or address in self._chips.silent:
            raise OSError(errno.EREMOTEIO, "Remote I/O error")  # what the Pi's driver says of a NACK
        n_bytes = sum(1 + message.len for message in messages)
        self._chips.clock.wait_s(9 * n_bytes / _BUS_HZ)
        chip.now_ms = mono_us(self._chips.clock) / 1_000
        register, *data = bytes(messages[0]) if not messages[0].flags & _READ_FLAG else b"\0"
        if data:
            chip.write(register, bytes(data))
        if messages[-1].flags & _READ_FLAG:
            said = chip.read(register, messages[-1].len)
            for index, byte in enumerate(said):
                messages[-1].buf[index] = byte

    def close(self) -> None:
        """Let go of the bus."""
        os.close(self.fd)
        self._chips.n_open -= 1
