"""Sensors on the board's own ADC: a photodiode breakout, a thermometer beside it, the board's own heat."""

import sys
import time

import wire
from machine import ADC, Pin
from part import Part

# Lamps flicker at twice the mains frequency.  100 ms holds ten cycles of 100 Hz and twelve of 120 Hz, 50 ms
# five and six: over whole cycles the flicker averages out to nothing.
WINDOW_US = 100_000
SHORT_WINDOW_US = 50_000
SHORT_BELOW_CADENCE_MS = 200

# Evenly spaced, and a prime number of them: no flicker that fits the window whole, and no low multiple of it,
# keeps step with the samples.
SAMPLES = 401

# Breakouts, with the least millivolts that a healthy one gives.  ML8511: 1.0 V in the dark, and 0.95 V at
# worst (from memory of its data sheet), so less is a broken or missing connection.
LEAST_MV = {"analog": None, "guva-s12sd": None, "ml8511": 900}

UV_PINS = {"esp32": 34}
UV_PIN_ELSEWHERE = 26  # ADC0 of the RP2040 and RP2350 boards


def usual_uv_pin():
    """The ADC pin that the wiring diagrams give to the UV sensor."""
    return UV_PINS.get(sys.platform, UV_PIN_ELSEWHERE)


class Input:
    """One pin of the board's ADC; `sample` gives counts."""

    def __init__(self, source):
        if hasattr(ADC, "ATTN_11DB"):
            # ESP32: read_uv uses the chip's factory calibration and steps by 1 mV; at this attenuation the
            # range is linear from 150 mV to 2450 mV (MicroPython's quick reference for the ESP32).
            adc = ADC(Pin(source), atten=ADC.ATTN_11DB)
            self.sample = lambda: adc.read_uv() // 1000
            self._top = 2450
            self._mv, self._counts = 1, 1
        else:
            # RP2040: 12 bits against its 3.3 V supply, which read_u16 stretches to 16.
            adc = ADC(source)
            self.sample = adc.read_u16
            self._top = 65535 * 98 // 100
            self._mv, self._counts = 3300, 65535

    def hundredths_mv(self, total, n):
        """The mean of `n` samples that add up to `total`, in hundredths of a millivolt."""
        scale = n * self._counts
        return (total * 100 * self._mv + scale // 2) // scale

    def average(self, window_us):
        """The mean over `window_us` in hundredths of a millivolt, and whether it touched the rail."""
        sample = self.sample
        ticks_us, ticks_diff = time.ticks_us, time.ticks_diff
        total = n = highest = due = 0
        start = ticks_us()
        while True:
            now = ticks_diff(ticks_us(), start)
            if now >= window_us:
                return self.hundredths_mv(total, n), highest >= self._top
            if now >= due:
                counts = sample()
                total += counts
                if counts > highest:
                    highest = counts
                n += 1
                due = n * window_us // SAMPLES

    def quick(self):
        """The mean of 16 samples in a row, in hundredths of a millivolt."""
        total = 0
        for _ in range(16):
            total += self.sample()
        return self.hundredths_mv(total, 16)


class Photodiode(Part):
    """A UV photodiode with its amplifier, which gives a voltage."""

    channels = (("photodiode_mv", "mV", 2),)

    def __init__(self, kind, source, cadence_ms):
        """`source` has `average(window_us)`: an Input, or an external ADC."""
        self.name = kind
        self._source = source
        self._window_us = SHORT_WINDOW_US if cadence_ms < SHORT_BELOW_CADENCE_MS else WINDOW_US
        self._least_mv = LEAST_MV[kind]

    def read(self, values, at):
        """Put the mean over the window into `values[at]`; return the marks."""
        mean, clipped = self._source.average(self._window_us)
        if self._least_mv is not None and mean < self._least_mv * 100:
            return wire.FAULT
        values[at] = mean
        return wire.SATURATED if clipped else 0  # a single clipped sample already falsifies the mean


class Thermometer(Part):
    """An analog thermometer chip beside the UV sensor: 500 mV at 0 °C and 10 mV/°C, as the TMP36 gives."""

    name = "thermometer"
    channels = (("temperature_c", "C", 1),)

    def __init__(self, pin):
        self._input = Input(pin)

    def read(self, values, at):
        """Put the temperature into `values[at]`; return the marks."""
        tenths_c = (self._input.quick() - 50_000 + 50) // 100
        if -400 <= tenths_c <= 1250:  # what the chip is made for; a loose wire reads outside of it
            values[at] = tenths_c
            return 0
        return wire.FAULT


class BoardHeat(Part):
    """The microcontroller's own temperature: some degrees off, but it tells a board that sits in the beam."""

    name = "board"
    channels = (("board_c", "C", 1),)

    def __init__(self):
        self._input = Input(ADC.CORE_TEMP)

    def read(self, values, at):
        """Put the temperature into `values[at]`; return the marks."""
        # RP2040 data sheet, 4.9.5: 706 mV at 27 °C, falling by 1.721 mV/°C.
        tenths_c = 270 - (self._input.quick() - 70_600) * 100 // 1721
        if -400 <= tenths_c <= 1250:
            values[at] = tenths_c
        return 0  # what it says is a courtesy: without it nothing is wrong with the UV
