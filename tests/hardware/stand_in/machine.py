"""Stands in for a board's `machine` module under the Unix port: the firmware's own files run unchanged.

The bench that starts the firmware talks to it by files in the board's folder:
`light_mv` (a number: what the photodiode gives), `light.py` (a function `photodiode_mv(t_us)` instead),
`thermometer_mv`, `unique_id` (hex), `bus.json` (the I2C bus, see _Wires).  The stand-in writes `watchdog`
(armed with what, fed how often, longest time between).
"""

import json
import os
import time

from simulated_chips import KINDS

_REFERENCE_MV = 3300
_SCL_PIN = 5
_EIO = 5
_ETIMEDOUT = 110
_LOOK_AGAIN_US = 50_000


def _read(name, default):
    try:
        with open(name) as file:
            return file.read().strip() or default
    except OSError:
        return default


def unique_id():
    """The chip's serial number."""
    return bytes.fromhex(_read("unique_id", "e6614c311b7a2f34"))


def reset():
    """A board starts again; here the process ends and the bench may start it again."""
    raise SystemExit


class Pin:
    """A pin, known by its number; as a bus line it can be pulled down and looked at."""

    OPEN_DRAIN = 2

    def __init__(self, number, mode=None, value=None):
        if not 0 <= number < 30:
            raise ValueError("invalid pin")
        self.number = number

    def value(self, level=None):
        if level is None:
            return 0 if _wires.clocks_to_free else 1
        if level == 0 and self.number == _SCL_PIN and _wires.clocks_to_free:
            _wires.clocks_to_free -= 1
        return None


class _World:
    """What the pins see."""

    def __init__(self):
        self._mv = 0.0
        self._looked_us = None
        try:
            from light import photodiode_mv

            self._photodiode_mv = photodiode_mv
        except ImportError:
            self._photodiode_mv = self._file_mv

    def pin_mv(self, pin):
        if pin == ADC.CORE_TEMP:
            return 706 - 1.721 * (31.4 - 27)
        if pin == 27:
            return float(_read("thermometer_mv", "750"))
        return self._photodiode_mv(time.ticks_us())

    def _file_mv(self, t_us):
        if self._looked_us is None or t_us - self._looked_us > _LOOK_AGAIN_US:
            self._looked_us = t_us
            self._mv = float(_read("light_mv", "512"))
        return self._mv


_world = None


class ADC:
    """A 12-bit converter against 3.3 V, as on an RP2040."""

    CORE_TEMP = 4

    def __init__(self, source):
        global _world
        _world = _world or _World()
        self._pin = source.number if isinstance(source, Pin) else source

    def read_u16(self):
        """One sample, stretched to 16 bits as the RP2040 port does."""
        counts = int(_world.pin_mv(self._pin) / _REFERENCE_MV * 4095 + 0.5)
        counts = min(4095, max(0, counts))
        return counts << 4 | counts >> 8


class _Wires:
    """The I2C bus as `bus.json` says, chips by address:

    {"chips": {"83": {"kind": "ltr390", "light": {"uv": 900}, "silent": false, "resets": 0}}, "stuck": 0}

    A number of resets, or of times stuck, that grows makes it happen once more.  `left`: the state in which
    the board left a chip before it started again.
    """

    def __init__(self):
        self.clocks_to_free = 0
        self._looked_us = None
        self._chips = {}
        self._plan = {"chips": {}, "stuck": 0}

    def chips(self):
        """The chips that answer, by address, with the light of now."""
        self._look()
        if self.clocks_to_free:
            raise OSError(_ETIMEDOUT)
        answering = {}
        for address, plan in self._plan["chips"].items():
            chip = self._chips[address]
            chip.now_ms = time.ticks_us() / 1000
            chip.light = plan.get("light", {})
            if not plan.get("silent", False):
                answering[int(address)] = chip
        return answering

    def _look(self):
        now_us = time.ticks_us()
        if self._looked_us is not None and now_us - self._looked_us < _LOOK_AGAIN_US:
            return
        self._looked_us = now_us
        before = self._plan
        self._plan = json.loads(_read("bus.json", '{"chips": {}}'))
        if self._plan.get("stuck", 0) > before.get("stuck", 0):
            self.clocks_to_free = 7
        for address, plan in self._plan["chips"].items():
            if address not in self._chips:
                self._chips[address] = KINDS[plan["kind"]]()
                for name, value in plan.get("left", {}).items():
                    setattr(self._chips[address], name, value)
            elif plan.get("resets", 0) > before["chips"].get(address, {}).get("resets", 0):
                self._chips[address].reset()


_wires = _Wires()


class I2C:
    """The bus, by registers."""

    def __init__(self, number, sda, scl, freq):
        pass

    def scan(self):
        return sorted(_wires.chips())

    def readfrom_mem(self, address, register, n):
        return self._chip(address).read(register, n)

    def writeto_mem(self, address, register, data):
        self._chip(address).write(register, data)

    def _chip(self, address):
        try:
            return _wires.chips()[address]
        except KeyError:
            raise OSError(_EIO) from None


class WDT:
    """A watchdog that writes down how it was treated instead of restarting the board."""

    def __init__(self, timeout):
        if timeout > 8388:
            raise ValueError("timeout exceeds 8388")
        self._timeout_ms = timeout
        self._fed_ms = time.ticks_ms()
        self._written_ms = None
        self._feeds = 0
        self._longest_ms = 0
        self.feed()

    def feed(self):
        """Note the time since the last feed."""
        now = time.ticks_ms()
        self._longest_ms = max(self._longest_ms, time.ticks_diff(now, self._fed_ms))
        self._fed_ms = now
        self._feeds += 1
        if self._written_ms is None or now - self._written_ms >= 200:
            self._written_ms = now
            with open("watchdog.new", "w") as file:
                file.write("%d %d %d" % (self._timeout_ms, self._feeds, self._longest_ms))
            os.rename("watchdog.new", "watchdog")


class Timer:
    """A timer that notes that it was started."""

    PERIODIC = 1

    def __init__(self, number):
        pass

    def init(self, period, mode, callback):
        """Call back once, to show that it can be."""
        callback(self)
        with open("timer", "w") as file:
            file.write(str(period))
