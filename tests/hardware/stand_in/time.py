"""MicroPython's `time` as a 32-bit board has it: ticks wrap at 2**30, milliseconds each 12 days, microseconds
each 18 minutes.  Here both wrap soon after each start.
"""

import utime

PERIOD = 2**30
_FIRST_WRAP_US = 2_500_000

sleep, sleep_ms, sleep_us = utime.sleep, utime.sleep_ms, utime.sleep_us

_started_us = utime.ticks_us()


def ticks_us():
    """Microseconds since some moment; only their differences mean something."""
    return (utime.ticks_us() - _started_us - _FIRST_WRAP_US) % PERIOD


def ticks_ms():
    """Milliseconds since some moment; only their differences mean something."""
    return ((utime.ticks_us() - _started_us - _FIRST_WRAP_US) // 1000) % PERIOD


def ticks_add(ticks, step):
    """`ticks` moved on, by less than half the period."""
    if not -PERIOD // 2 < step < PERIOD // 2:
        raise OverflowError("ticks interval overflow")
    return (ticks + step) % PERIOD


def ticks_diff(later, earlier):
    """The time between two ticks, right as long as it is less than half the period."""
    return (later - earlier + PERIOD // 2) % PERIOD - PERIOD // 2
