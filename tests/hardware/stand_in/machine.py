"""Stands in for a board's `machine` module under the Unix port: the firmware's own files run unchanged.

The bench that starts the firmware talks to it by files in the board's folder:
`kind` ("rp2040" or "esp32"), `light_mv` (a number: what the photodiode gives), `light.py` (a function
`photodiode_mv(t_us)` instead), `thermometer_mv`, `unique_id` (hex), `bus.json` (the I2C bus, see _Wires).
The stand-in writes `watchdog` (armed with what, fed how often, longest time between).
"""

import json
import os
import random

# The world's own time: it neither wraps nor begins anew with the board.
import utime as time

from simulated_chips import KINDS

_SCL_PIN = 5
_EIO = 5
_ETIMEDOUT = 110
_LOOK_AGAIN_US = 50_000
_TRANSFER_AT_MOST_US = 50_000  # after which both ports' I2C gives up, unless it is told otherwise


def _read(name, default):
    try:
        with open(name) as file:
            return file.read().strip() or default
    except OSError:
        return default


KIND = _read("kind", "rp2040")


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
        if not 0 <= number < (40 if KIND == "esp32" else 30):
            raise ValueError("invalid pin")
        self.number = number

    def value(self, level=None):
        _wires.look()
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
        if pin == getattr(ADC, "CORE_TEMP", None):
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


class _Rp2040Adc:
    """A 12-bit converter against 3.3 V, with the noise that leaves some 9 of its bits."""

    CORE_TEMP = 4

    def __init__(self, source):
        self._pin = source.number if isinstance(source, Pin) else source

    def read_u16(self):
        """One sample, stretched to 16 bits as the RP2040 port does."""
        counts = int(_seen().pin_mv(self._pin) / 3300 * 4095 + 0.5 + _noise(2.2))
        counts = min(4095, max(0, counts))
        return counts << 4 | counts >> 8


class _Esp32Adc:
    """Reads nothing under some 0.14 V, is not straight over 2.45 V, and takes its time."""

    ATTN_11DB = 3
    READ_US = 60

    def __init__(self, pin, atten):
        self._pin = pin.number

    def read_uv(self):
        """One sample in microvolts, by the calibration that the chip came with."""
        time.sleep_us(self.READ_US)
        mv = _seen().pin_mv(self._pin) + _noise(4)
        if mv > 2450:
            mv = 2450 + (mv - 2450) / 2
        return int(min(3100, max(142, mv))) * 1000


ADC = _Esp32Adc if KIND == "esp32" else _Rp2040Adc


def _seen():
    global _world
    _world = _world or _World()
    return _world


def _noise(rms):
    """Near enough to a normal distribution, with a mean of nothing."""
    return rms * (random.getrandbits(8) + random.getrandbits(8) - 255) / 104.5


class _Wires:
    """The I2C bus as `bus.json` says, chips by address:

    {"chips": {"83": {"kind": "ltr390", "light": {"uv": 900}, "silent": false, "resets": 0}}, "stuck": 0}

    A number of resets, or of times stuck, that grows makes it happen once more.  More of a chip: `is` (what
    sets it apart from others of its kind, such as {"slow_percent": 10} of its clock), `stretch_us` (for how
    long it holds the clock in each transfer), `nack_each` (one in so many transfers it does not answer).
    More of the bus: `scl_held` (something holds the clock down for good), `spoilt_at_first` (so many
    transfers, and scans, from each start on).

    What the chips hold stands in the file `chips_hold`: a board that starts again does not take their power.
    The bench removes it when it cuts the power.
    """

    def __init__(self):
        self._looked_us = None
        self._transfers = self._scans = 0
        held = eval(_read("chips_hold", "{}"))
        self.clocks_to_free = held.get("clocks_to_free", 0)
        self._plan = held.get("plan", {"chips": {}, "stuck": 0})
        self._chips = {}
        for address, state in held.get("chips", {}).items():
            self._add(address, state)

    def transfer(self, address, n_bits, work):
        """Do `work` with a chip after the time that so many bits take; OSError where it does not answer."""
        self.look()
        if self.clocks_to_free or self._plan.get("scl_held"):
            time.sleep_us(_TRANSFER_AT_MOST_US)
            raise OSError(_ETIMEDOUT)
        plan = self._plan["chips"].get(str(address))
        self._transfers += 1
        nack = plan and "nack_each" in plan and self._transfers % plan["nack_each"] == 0
        nack = nack or self._transfers <= self._plan.get("spoilt_at_first", 0)
        if plan is None or plan.get("silent", False) or nack:
            time.sleep_us(11 * _bit_us)
            raise OSError(_EIO)
        stretch_us = plan.get("stretch_us", 0)
        time.sleep_us(min(n_bits * _bit_us + stretch_us, _TRANSFER_AT_MOST_US))
        if stretch_us > _TRANSFER_AT_MOST_US:
            raise OSError(_ETIMEDOUT)
        chip = self._chips[str(address)]
        chip.now_ms = time.ticks_us() / 1000
        chip.light = plan.get("light", {})
        said = work(chip)
        self.keep()
        return said

    def answering(self):
        """The addresses that answer."""
        self._scans += 1
        if self._scans <= self._plan.get("spoilt_at_first", 0):
            return []
        return sorted(int(a) for a, plan in self._plan["chips"].items() if not plan.get("silent", False))

    def keep(self):
        """Write down what the chips hold."""
        chips = {address: chip.__dict__ for address, chip in self._chips.items()}
        with open("chips_hold.new", "w") as file:
            file.write(repr({"clocks_to_free": self.clocks_to_free, "plan": self._plan, "chips": chips}))
        os.rename("chips_hold.new", "chips_hold")

    def look(self):
        """Take note of what the bench has changed."""
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
                self._add(address, plan.get("is", {}))
            elif plan.get("resets", 0) > before["chips"].get(address, {}).get("resets", 0):
                self._chips[address].reset()

    def _add(self, address, state):
        chip = self._chips[address] = KINDS[self._plan["chips"][address]["kind"]]()
        chip.now_ms = time.ticks_us() / 1000
        chip.reset()
        for name, value in state.items():
            setattr(chip, name, value)


_wires = _Wires()
_bit_us = 10


class I2C:
    """The bus, by registers."""

    def __init__(self, number, sda, scl, freq):
        global _bit_us
        _bit_us = 1_000_000 // freq

    def scan(self):
        _wires.look()
        time.sleep_us(112 * 11 * _bit_us)
        if _wires.clocks_to_free:
            raise OSError(_ETIMEDOUT)
        return _wires.answering()

    def readfrom_mem(self, address, register, n):
        # Its address, the register, its address again, the bytes; each with a bit of acknowledgement.
        return _wires.transfer(address, 9 * (3 + n) + 3, lambda chip: chip.read(register, n))

    def writeto_mem(self, address, register, data):
        return _wires.transfer(address, 9 * (2 + len(data)) + 2, lambda chip: chip.write(register, data))


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
