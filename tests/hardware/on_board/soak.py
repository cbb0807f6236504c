"""Runs on the board's interpreter: days of the whole firmware, drivers included, on hand-driven time.

Arguments: days, cadence in ms.  Its lines go to standard output while the host is there; once an hour one
that begins with `#` says how much memory is in use.  Each day the lamp comes on and goes off, the host is
away for half an hour and then asks for what it missed, the chip falls silent for a minute and is once reset.
"""

import gc
import sys

import as7331
import bus
import chip
import machine
import main
import sensors
import settings
import wire

from rig import Link, Ticks

days, cadence_ms = int(sys.argv[1]), int(sys.argv[2])
HOUR = 3_600_000 // cadence_ms  # in readings
AWAY = HOUR // 2
MINUTE = HOUR // 60
AS7331 = "116"


class Time(Ticks):
    """All of `time` that the firmware uses, moved by hand."""

    us = 0  # beyond the whole milliseconds

    def ticks_us(self):
        return self.now * 1000 + self.us

    def sleep_ms(self, ms):
        self.pass_ms(ms)

    def sleep_us(self, us):
        self.us += us
        self.pass_ms(self.us // 1000)
        self.us %= 1000


ticks = Time()
for module in (as7331, bus, chip, machine):
    module.time = ticks
light = {"uva": 0.0, "uvb": 0.0, "uvc": 0.0, "celsius": 24}
plan = {AS7331: {"kind": "as7331", "light": light}}
machine._LOOK_AGAIN_US = 2**40  # the plan of the bus is changed here, not in a file
machine._wires._plan = {"chips": plan}
machine._wires._looked_us = 0
machine._wires.keep = lambda: None
machine._wires._chips = {AS7331: machine.KINDS["as7331"]()}

link = Link(ticks, quiet=False, line_ms=0)
chosen = dict(settings.DEFAULTS, cadence_ms=cadence_ms)
firmware = main.Firmware(link, sensors.find(chosen), cadence_ms, ticks)
firmware.hello()


def ask(text):
    body = text.encode()
    link.requests.append(body + b" ~%04X" % wire.crc16(body))


for n in range(days * 24 * HOUR):
    hour, into_hour = n // HOUR % 24, n % HOUR
    if into_hour == 0:
        gc.collect()
        print("# %d %d %d" % (n // HOUR, gc.mem_alloc(), gc.mem_free()))
    if n % MINUTE == 0:
        ask("bk1 hello?" if hour % 2 else "bk1 time? %d" % n)
        link.requests.append(b"half a line of noise")
        light["uva"] = 900.0 * (0 if hour < 8 or hour >= 20 else 1 + n % 7 / 100)
        light["uvb"] = light["uva"] / 9
        light["celsius"] = 24 + n % 60 / 10
    if hour == 13:
        link.quiet = into_hour < AWAY
        if into_hour == AWAY:
            ask("bk1 replay? %s %d %d" % (firmware._boot, n - AWAY, n - 1))
    plan[AS7331]["silent"] = hour == 15 and into_hour < MINUTE
    if hour == 16 and into_hour == 0:
        machine._wires._chips[AS7331].reset()
    before = firmware._ring.next_seq
    while firmware._ring.next_seq == before:
        firmware.step()
while firmware._replays:
    firmware.step()
