"""The I2C bus, and how to free it when a chip holds it."""

import sys
import time

from machine import I2C, Pin

PINS = {"esp32": (21, 22)}  # (SDA, SCL)
PINS_ELSEWHERE = (4, 5)  # of the RP2040 and RP2350 boards
HZ = 100_000  # slow, for cables


class Bus:
    """Registers of chips on the bus; OSError where a chip does not answer."""

    def __init__(self, sda, scl):
        usual = PINS.get(sys.platform, PINS_ELSEWHERE)
        self._sda = usual[0] if sda is None else sda
        self._scl = usual[1] if scl is None else scl
        self.restart()

    def restart(self):
        """Free the bus and take hold of it again.

        A chip that was cut short while it sent a 0 holds the data line down until it has been clocked through
        the rest of its byte: nine clocks at most.
        """
        sda = Pin(self._sda, Pin.OPEN_DRAIN, value=1)
        scl = Pin(self._scl, Pin.OPEN_DRAIN, value=1)
        for _ in range(9):
            if sda.value():
                break
            scl.value(0)
            time.sleep_us(5)
            scl.value(1)
            time.sleep_us(5)
        sda.value(0)  # a stop: data goes up while the clock is up
        time.sleep_us(5)
        sda.value(1)
        self._i2c = I2C(0, sda=Pin(self._sda), scl=Pin(self._scl), freq=HZ)

    def scan(self):
        """The addresses that answer."""
        try:
            return self._i2c.scan()
        except OSError:
            return []

    def read(self, address, register, n):
        """`n` bytes from a register on."""
        return self._i2c.readfrom_mem(address, register, n)

    def write(self, address, register, data):
        """Write bytes from a register on."""
        self._i2c.writeto_mem(address, register, data)


def whole(data, big_endian):
    """Bytes as a whole number."""
    value = 0
    for byte in data if big_endian else reversed(data):
        value = value << 8 | byte
    return value
