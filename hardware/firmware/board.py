"""Who the board is and how long it has run."""

import os
from binascii import hexlify

import machine

FIRMWARE = "baskline-0.1.0"


def identity():
    """The board's name for ever, from the chip's own serial number."""
    return "uv-" + hexlify(machine.unique_id()).decode()


def new_boot():
    """A name for this start of the board."""
    return hexlify(os.urandom(4)).decode()


class Clock:
    """Time since the start, as whole seconds and milliseconds: milliseconds alone would outgrow the
    numbers that need no memory of their own after 12 days.

    ticks_ms itself wraps at that age, so `update` must be called more often than every 6 days.
    """

    def __init__(self, time):
        self._time = time
        self._last = time.ticks_ms()
        self.whole_s = 0
        self.ms = 0

    def update(self):
        """Bring `whole_s` and `ms` up to now."""
        now = self._time.ticks_ms()
        ms = self.ms + self._time.ticks_diff(now, self._last)
        self._last = now
        self.whole_s += ms // 1000
        self.ms = ms % 1000
