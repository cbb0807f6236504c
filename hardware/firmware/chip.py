"""A sensor chip on the I2C bus that its table in chips/ describes in full."""

import time

import wire
from bus import whole
from part import Part


def answers(bus, address, table):
    """Whether the chip at an address is the one of the table."""
    try:
        if "hidden" in table:
            register, n, mask, value = table["hidden"]
            if whole(bus.read(address, register, n), table["big_endian"]) & mask == value:
                bus.write(address, *table["show"])
        for register, n, mask, value in table["identity"]:
            if whole(bus.read(address, register, n), table["big_endian"]) & mask != value:
                return False
    except OSError:
        return False
    return True


class Chip(Part):
    """Sets the chip up, again when it has lost its settings, and reads its channels."""

    def __init__(self, bus, address, table, cadence_ms):
        """`cadence_ms` is for chips that choose their time by it."""
        self.name = table["name"]
        self.channels = tuple((c["name"], c["unit"], c["decimals"]) for c in table["channels"])
        self._bus = bus
        self._address = address
        self._table = table
        self._set_up = False

    def read(self, values, at):
        """Put the channels into `values` from `at` on; return the marks."""
        if not self._set_up:
            self._start()
        if not (self._kept() and self._wait_until_ready()):
            self._set_up = False
            return wire.FAULT
        marks = 0
        for channel in self._table["channels"]:
            value = self._register(channel["register"], channel["bytes"]) & channel["mask"]
            if value >= channel.get("full", value + 1):
                marks |= wire.SATURATED
            if value & channel.get("sign", 0):
                value -= channel["mask"] + 1
            values[at] = value * channel.get("times", 1)
            at += 1
        if not self._kept():
            self._set_up = False
            for index in range(at - len(self.channels), at):
                values[index] = wire.MISSING
            return wire.FAULT
        return marks

    def failed(self):
        """Take note that the chip did not answer: it is set up anew before it is read again."""
        self._set_up = False

    def _start(self):
        for register, data in self._table["setup"]:
            self._bus.write(self._address, register, data)
        time.sleep_ms(self._table["settle_ms"])
        self._set_up = True

    def _kept(self):
        """Whether it still has its settings; a dip of its supply, or static, may reset it at any time.

        Looked at before a reading and after it: what it held in between was measured as it was told to.
        """
        for register, n, mask, value in self._table["kept"]:
            if self._register(register, n) & mask != value:
                return False
        return True

    def _wait_until_ready(self):
        if self._table["ready"] is None:
            return True
        register, n, mask, value = self._table["ready"]
        start = time.ticks_ms()
        while self._register(register, n) & mask != value:
            if time.ticks_diff(time.ticks_ms(), start) > self._table["patience_ms"]:
                return False
            time.sleep_ms(2)
        return True

    def _register(self, register, n):
        return whole(self._bus.read(self._address, register, n), self._table["big_endian"])
