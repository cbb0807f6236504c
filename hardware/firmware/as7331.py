"""The AS7331: measures when told to, and has a range for every light from moonlight to welding."""

import time

import wire
from chip import Chip


class As7331(Chip):
    """One measurement a reading, at a gain that follows the light."""

    def __init__(self, bus, address, table, cadence_ms):
        super().__init__(bus, address, table, cadence_ms)
        _, self._exponent, self._divider = [row for row in table["times"] if cadence_ms >= row[0]][0]
        self._gain = table["first_gain"]
        self._ranged = False
        self._begun = False
        # 1024 clocks are taken for a millisecond, so the time is exact; 10 % for the chip's own clock.
        self._measures_ms = (1 << self._exponent) * 110 // 100 + 5
        self.lead_ms = self._measures_ms

    def begin(self):
        """Start a measurement, with all settings written anew: a chip that was reset is none the worse."""
        table = self._table
        settings = bytes((self._gain << 4 | self._exponent, self._divider, table["command_mode"]))
        self._bus.write(self._address, 0x00, bytes((table["configure"],)))
        self._bus.write(self._address, 0x06, settings)
        time.sleep_ms(2)  # to wake up, if it was reset
        self._bus.write(self._address, 0x00, bytes((table["measure"],)))
        self._begun = True

    def read(self, values, at):
        """Put the channels into `values` from `at` on; return the marks."""
        if not self._begun:
            self.begin()
        self._begun = False
        status = self._finished()
        if status is None:
            return wire.FAULT
        results = self._bus.read(self._address, 0x02, 6)
        counts = [results[i] | results[i + 1] << 8 for i in (0, 2, 4)]
        gain = self._table["gains"][self._gain]
        for index in range(3):
            values[at + index] = (counts[index] * 10_000 + gain // 2) // gain
        values[at + 3] = (self._register(0x01, 2) & 0x0FFF) * 5 - 6690  # 0.05 °C a step from -66.9 °C on
        marks = wire.RANGED if self._ranged else 0
        fullest = max(counts)
        full = status & self._table["overflows"] or fullest == 0xFFFF
        if full:
            marks |= wire.SATURATED
        self._choose_gain(fullest, full)
        return marks

    def _finished(self):
        """The status once the measurement is done; None when it is not, or when the chip was reset."""
        start = time.ticks_ms()
        while time.ticks_diff(time.ticks_ms(), start) < 2 * self._measures_ms:
            state, status = self._bus.read(self._address, 0x00, 2)
            if state & self._table["state_mask"] != self._table["measuring"]:
                return None
            if not status & self._table["not_ready"]:
                return status
            time.sleep_ms(2)
        return None

    def _choose_gain(self, fullest, full):
        """The gain for the next measurement; its reading is marked if that is another one."""
        before = self._gain
        least = len(self._table["gains"]) - 1
        if full:
            self._gain = min(self._gain + 3, least)
        elif fullest > self._table["too_full"]:
            self._gain = min(self._gain + 1, least)
        elif fullest < self._table["too_empty"]:
            self._gain = max(self._gain - 1, 0)
        self._ranged = self._gain != before
