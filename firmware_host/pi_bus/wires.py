"""The I²C bus of this computer, through the kernel's driver."""

import errno
import fcntl
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeAlias

from calibrate.errors import KeeperError


class PiBusError(KeeperError):
    """What keeps the Pi's own bus from being a board."""


class Wires(Protocol):
    """Registers of chips on a bus; OSError where a chip does not answer."""

    def read(self, address: int, register: int, n: int) -> bytes:
        """Return `n` bytes from a register on."""
        ...

    def write(self, address: int, register: int, data: bytes) -> None:
        """Write bytes from a register on."""
        ...

    def answers(self, address: int) -> bool:
        """Whether something answers at an address."""
        ...

    def close(self) -> None:
        """Let go of the bus."""
        ...


OpenWires: TypeAlias = Callable[[int], Wires]


class KernelWires:
    """The bus of /dev/i2c-N.  Each read is one transfer, so nobody else's comes between its two halves."""

    def __init__(self, bus: int) -> None:
        """Open it, or raise `PiBusError`."""
        try:
            from smbus2 import SMBus, i2c_msg
        except ImportError:
            raise PiBusError(
                "reading the Pi's own bus needs one more package",
                where="pi_bus",
                remedy="Type: pip install 'baskline[pi-bus]'",
            ) from None
        self._message = i2c_msg
        try:
            self._bus = SMBus(bus)
        except OSError as error:
            raise _cannot_open(bus, error) from None
        assert self._bus.fd is not None, "open, as nothing was raised"
        try:
            # Two programs that both tell a chip to measure would spoil each other's readings.
            fcntl.flock(self._bus.fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self._bus.close()
            raise PiBusError(
                "another program of baskline reads this bus",
                where=f"/dev/i2c-{bus}",
                remedy="Stop it, such as `baskline run`",
            ) from None

    def read(self, address: int, register: int, n: int) -> bytes:
        """Return `n` bytes from a register on."""
        asked, said = self._message.write(address, [register]), self._message.read(address, n)
        self._bus.i2c_rdwr(asked, said)
        return bytes(said)

    def write(self, address: int, register: int, data: bytes) -> None:
        """Write bytes from a register on."""
        self._bus.i2c_rdwr(self._message.write(address, [register, *data]))

    def answers(self, address: int) -> bool:
        """Whether something answers at an address."""
        try:
            self._bus.i2c_rdwr(self._message.read(address, 1))
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Let go of the bus."""
        self._bus.close()


def _cannot_open(bus: int, error: OSError) -> PiBusError:
    path = f"/dev/i2c-{bus}"
    if error.errno in (errno.EACCES, errno.EPERM):
        remedy = "Join its group with `sudo usermod -aG i2c $USER`, then log out and in again"
        return PiBusError("no permission to open it", where=path, remedy=remedy)
    there = sorted(Path("/dev").glob("i2c-*"))
    if there:
        remedy = f"There is {', '.join(str(path) for path in there)}: write its number as bus"
    else:
        remedy = "Switch the bus on with `sudo raspi-config nonint do_i2c 0`, and start the Pi again"
    return PiBusError("there is no such I²C bus", where=path, remedy=remedy)
