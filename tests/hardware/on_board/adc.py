"""Runs on the board's interpreter: what the external ADC makes of light, over a bus that takes its time.

Arguments: window in us, how slow the chip's clock is in percent.  Prints means in mV.
"""

import json
import sys
from math import pi, sin

import ads1115
from chips.ads1115 import TABLE
from simulated_chips import Ads1115

window_us, slow_percent = int(sys.argv[1]), int(sys.argv[2])
CALL_US = 40  # what the interpreter takes around each transfer
BIT_US = 10  # at 100 kHz


class Time:
    now = 0

    def ticks_us(self):
        return self.now

    def ticks_diff(self, later, earlier):
        return later - earlier

    def sleep_us(self, us):
        self.now += us


class Bus:
    def __init__(self, light):
        self.chip = Ads1115()
        self.chip.slow_percent = slow_percent
        self.light = light

    def _pass(self, n_bytes, call_us=CALL_US):
        clock.now += call_us + 9 * n_bytes * BIT_US
        self.chip.now_ms = clock.now / 1000
        self.chip.light = {"mv": self.light(clock.now / 1e6)}

    def write(self, address, register, data):
        self._pass(2 + len(data))
        self.chip.write(register, data)

    def read(self, address, register, n):
        self._pass(3)
        said = self.chip.read(register, n)
        self._pass(n, call_us=0)
        return said


LIGHTS = {
    "steady": lambda t: 1000.0,
    "rectified 100": lambda t: 1000 * abs(sin(pi * 100 * t)),
    "rectified 120": lambda t: 1000 * abs(sin(pi * 120 * t)),
    "pulsed 100": lambda t: 1000.0 if t * 100 % 1 < 0.3 else 0.0,
}

clock = ads1115.time = Time()
report = {}
for name, light in LIGHTS.items():
    bus = Bus(light)
    adc = ads1115.Ads1115(bus, 0x48, TABLE)
    begun = clock.now
    try:
        report[name] = adc.average(window_us)[0] / 100
        report["took_us"] = clock.now - begun
        bus.light = lambda t: 2000.0
        report[name + ", then 2000 mV"] = adc.average(window_us)[0] / 100
    except OSError as error:
        report[name] = str(error)
print(json.dumps(report))
