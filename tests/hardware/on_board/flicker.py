"""Runs on the board's interpreter: what the ADC driver makes of flickering light.

Arguments: window in us, time in us that one look at the hand-driven clock takes.  Prints means in mV.
"""

import json
import sys
from math import pi, sin

import analog

window_us, look_us = int(sys.argv[1]), int(sys.argv[2])


class Time:
    now = 0

    def ticks_us(self):
        self.now += look_us
        return self.now

    def ticks_diff(self, later, earlier):
        return later - earlier


def rectified(hz):
    return lambda t: 1000 * abs(sin(pi * hz * t))


def pulsed(hz, duty):
    return lambda t: 1000.0 if t * hz % 1 < duty else 0.0


LIGHTS = {
    "steady": lambda t: 1000.0,
    "rectified 100": rectified(100),
    "rectified 120": rectified(120),
    "pulsed 100": pulsed(100, 0.3),
    "pulsed 1000": pulsed(1000, 0.3),
    "pulsed 4000": pulsed(4000, 0.3),
}

analog.time = Time()
adc = analog.Input(26)
report = {}
for name, light in LIGHTS.items():
    adc.sample = lambda light=light: int(light(analog.time.now / 1e6 + 0.00213) / 3300 * 65535 + 0.5)
    report[name] = adc.average(window_us)[0] / 100
print(json.dumps(report))
