"""An ADS1115 in place of the board's own ADC."""

import time

from bus import whole


def answers(bus, address, table):
    """Whether the chip at an address is an ADS1115: it has no identity, but one register that tells."""
    try:
        config = whole(bus.read(address, table["config"], 2), True)
    except OSError:
        return False
    return config | table["busy_mask"] in (table["after_power_on"], table["start"])


class Ads1115:
    """Its first input, averaged as `analog.Input` averages a pin of the board."""

    def __init__(self, bus, address, table):
        self._bus = bus
        self._address = address
        self._table = table
        self._start = bytes((table["start"] >> 8, table["start"] & 0xFF))

    def average(self, window_us):
        """The mean over `window_us` in hundredths of a millivolt, and whether it touched the rail.

        OSError where the chip was reset, or does not finish: what it holds was not measured as asked for.
        """
        table = self._table
        samples = [row[1] for row in table["samples"] if window_us >= row[0]][0]
        total = 0
        highest = 0
        start = time.ticks_us()
        for n in range(samples):
            left_us = n * window_us // samples - time.ticks_diff(time.ticks_us(), start)
            if left_us > 0:
                time.sleep_us(left_us)
            # The whole setting goes with each start, so a chip that was reset is none the worse.
            self._bus.write(self._address, table["config"], self._start)
            time.sleep_us(table["converts_us"])
            # Idle again, and with these settings: it has finished, and was not reset.
            if whole(self._bus.read(self._address, table["config"], 2), True) != table["start"]:
                raise OSError(table["name"] + " has not measured")
            counts = whole(self._bus.read(self._address, table["result"], 2), True)
            if counts & 0x8000:
                counts -= 0x10000
            total += counts
            highest = max(highest, counts)
        scale = samples * table["counts_per_mv"]
        return (total * 100 + scale // 2) // scale, highest >= table["rail_counts"]
