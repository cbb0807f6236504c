"""What the boards' program finds around itself when the Pi takes the microcontroller's place."""

from collections.abc import Sequence
from types import SimpleNamespace
from typing import NoReturn

from firmware_host.clock import Clock, mono_us
from firmware_host.pi_bus.wires import PiBusError, Wires

# Of the ring the program asks what is free: a computer has room for the whole of it.
_FREE_BYTES = 1 << 30


class BoardTime:
    """MicroPython's `time` on the host's clock.  Its ticks never wrap."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    def ticks_ms(self) -> int:
        """Return the milliseconds of the host's monotonic axis."""
        return self._clock.moment().mono_ms

    def ticks_us(self) -> int:
        """Return the microseconds of the host's monotonic axis."""
        return mono_us(self._clock)

    def ticks_add(self, ticks: int, step: int) -> int:
        """Return `ticks` moved on."""
        return ticks + step

    def ticks_diff(self, later: int, earlier: int) -> int:
        """Return the time between two ticks."""
        return later - earlier

    def sleep_ms(self, duration_ms: int) -> None:
        """Wait."""
        self._clock.wait_s(duration_ms / 1000)

    def sleep_us(self, duration_us: int) -> None:
        """Wait."""
        self._clock.wait_s(duration_us / 1_000_000)


class Pin:
    """A line of the bus, which here belongs to the kernel: always free, and not to be pulled by hand."""

    OPEN_DRAIN = 0

    def __init__(self, *_: object, **__: object) -> None:
        pass

    def value(self, _level: int | None = None) -> int:
        """Return that nobody holds the line down."""
        return 1


class NoAdc:
    """The Pi has no analog pins: where the program would read one, no UV sensor was found."""

    def __init__(self, *_: object, **__: object) -> NoReturn:
        raise PiBusError(
            "no UV sensor answers on the Pi's I²C bus",
            where="pi_bus",
            remedy=(
                "Switch the Pi off and check the four wires and the 3.3 V of the sensor. An analog breakout"
                " needs an ADS1115 on the bus, for the Pi has no analog pins"
            ),
        )


class I2C:
    """MicroPython's I2C on the Pi's wires."""

    def __init__(self, wires: Wires, addresses: Sequence[int]) -> None:
        self._wires = wires
        self._addresses = addresses

    def scan(self) -> list[int]:
        """Return which addresses answer, of those where a chip of ours may be.

        Nobody else's chip is touched: some take a read that they did not expect for an order.
        """
        return [address for address in self._addresses if self._wires.answers(address)]

    def readfrom_mem(self, address: int, register: int, n: int) -> bytes:
        """Return `n` bytes from a register on."""
        return self._wires.read(address, register, n)

    def writeto_mem(self, address: int, register: int, data: bytes) -> None:
        """Write bytes from a register on."""
        self._wires.write(address, register, data)


def surroundings(wires: Wires, addresses: Sequence[int], clock: Clock) -> dict[str, object]:
    """Return the modules of MicroPython that the program imports, by name, with the Pi behind them."""
    i2c = I2C(wires, addresses)
    return {
        # The clock and the pins that the program names are the kernel's business here.
        "machine": SimpleNamespace(I2C=lambda *_, **__: i2c, Pin=Pin, ADC=NoAdc),
        "time": BoardTime(clock),
        # The host collects its own garbage; a collection a reading would hold up everything else.
        "gc": SimpleNamespace(collect=lambda: None, mem_free=lambda: _FREE_BYTES),
        "micropython": SimpleNamespace(),
    }
