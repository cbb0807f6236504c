"""Runs on the board's interpreter: the firmware on hand-driven ticks and a link with nobody behind it."""

import sys

import main

PERIOD = 2**30  # of a 32-bit board's ticks; the Unix port's own is longer


class Ticks:
    """Ticks that wrap as a 32-bit board's do, moved by hand."""

    def __init__(self, start=0):
        self.now = start % PERIOD

    def ticks_ms(self):
        return self.now

    def ticks_add(self, ticks, step):
        return (ticks + step) % PERIOD

    def ticks_diff(self, later, earlier):
        return ((later - earlier + PERIOD // 2) % PERIOD) - PERIOD // 2

    def pass_ms(self, ms):
        self.now = (self.now + ms) % PERIOD


class Link:
    """Prints the lines written unless `quiet`, and hands out the requests put in; a line takes `line_ms`."""

    def __init__(self, ticks, quiet, line_ms):
        self._ticks = ticks
        self._line_ms = line_ms
        self.quiet = quiet
        self.written = 0
        self.requests = []
        self.stopped = False

    def write(self, line):
        self.written += 1
        self._ticks.pass_ms(self._line_ms)
        if not self.quiet:
            sys.stdout.buffer.write(line)

    def next_line(self, wait_ms):
        if self.requests:
            return self.requests.pop(0)
        self._ticks.pass_ms(wait_ms)
        return None


class Parts:
    """Two channels whose values tell the reading's number."""

    name = "analog"
    refusal = None
    lead_ms = 0
    channels = (("photodiode_mv", "mV", 2), ("board_c", "C", 1))

    def __init__(self):
        self.reads = 0

    def begin(self):
        pass

    def read(self, values):
        values[0] = self.reads
        values[1] = 215 + self.reads % 40
        self.reads += 1
        return 0


class Rig:
    """A firmware to be stepped by hand."""

    def __init__(self, cadence_ms=1000, start=0, quiet=False, line_ms=0):
        self.ticks = Ticks(start)
        self.link = Link(self.ticks, quiet, line_ms)
        self.parts = Parts()
        self.firmware = main.Firmware(self.link, self.parts, cadence_ms, self.ticks)

    def read_until(self, n):
        """Step until `n` readings were taken."""
        while self.parts.reads < n:
            self.firmware.step()

    def ask(self, line):
        """Put in a request and step until the board has nothing more to say about it."""
        self.link.requests.append(line)
        while self.link.requests or self.firmware._replays:
            self.firmware.step()
