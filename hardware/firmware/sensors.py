"""Which sensors this board has, read together as one."""

import ads1115
import analog
import wire
from as7331 import As7331
from bus import Bus
from chip import Chip, answers
from chips import ads1115 as ads1115_table
from chips import as7331, ltr390, mcp9808, si1145, veml6075
from part import Part

# Each with the class that reads it: Chip, for one that measures all the time, or its own.
UV_CHIPS = ((ltr390.TABLE, Chip), (veml6075.TABLE, Chip), (as7331.TABLE, As7331))
REFUSED_CHIPS = (si1145.TABLE,)
PREFIXES = "abcdefgh"
MAX_CHANNELS = 16  # of one line
ASKED = 3


class Sensors:
    """All sensors of the board; one that fails leaves the others their values."""

    def __init__(self, name, parts, bus, refusal):
        self.name = name
        self.refusal = refusal  # why a chip that is there is not used, or None
        self._bus = bus
        self._parts = []
        self.channels = ()
        for prefix, part in parts:
            if len(self.channels) + len(part.channels) <= MAX_CHANNELS:
                self._parts.append(part)
                self.channels += tuple((prefix + n, unit, decimals) for n, unit, decimals in part.channels)
        self.lead_ms = max([part.lead_ms for part in self._parts] + [0])

    def begin(self):
        """Start the measurements that take long, `lead_ms` before the reading."""
        for part in self._parts:
            if part.lead_ms:
                try:
                    part.begin()
                except OSError:
                    pass  # reading it will fail too, and is marked

    def read(self, values):
        """Fill `values`, one for each channel; return the marks."""
        marks = wire.FAULT if self.refusal else 0
        at = 0
        silent = False
        for part in self._parts:
            self._leave_out(part, values, at)
            try:
                marks |= part.read(values, at)
            except OSError:
                self._leave_out(part, values, at)  # what it said before it fell silent is no whole reading
                marks |= wire.FAULT
                part.failed()
                silent = True
            at += len(part.channels)
        if silent and self._bus:
            self._bus.restart()
        return marks

    def _leave_out(self, part, values, at):
        for index in range(at, at + len(part.channels)):
            values[index] = wire.MISSING


class Nothing(Part):
    """In the place of a sensor: a channel that never has a value."""

    channels = (("uv_counts", "counts", 0),)

    def read(self, _values, _at):
        """Mark that there is nothing to read."""
        return wire.FAULT


def find(settings):
    """The sensors that the settings name, or that answer."""
    kind = settings["sensor"]
    cadence_ms = settings["cadence_ms"]
    try:
        bus = Bus(settings["sda_pin"], settings["scl_pin"])
        there = set(bus.scan())
        there.update(bus.scan())
    except ValueError:  # this kind of board has no such pins, and no setting says others
        bus, there = None, ()
    refused = [table for table, _ in _present(bus, there, REFUSED_CHIPS)]
    uv_chips = _uv_chips(bus, there, kind, cadence_ms)
    refusal = None
    if uv_chips:
        name = "+".join(sorted({chip.name for chip in uv_chips}))
        prefixes = [letter + "." for letter in PREFIXES] if len(uv_chips) > 1 else [""]
        parts = list(zip(prefixes, uv_chips))
    elif kind in analog.LEAST_MV or (kind == "auto" and not refused):
        name, source = _analog_source(bus, there, "analog" if kind == "auto" else kind, settings["uv_pin"])
        parts = [("", analog.Photodiode(name.split("+")[0], source, cadence_ms))]
    else:
        # Named but not there, or there but of no use: better no value than a floating pin's.
        parts = [("", Nothing())]
        name = refused[0]["name"] + "-refused" if refused else kind + "-missing"
        if refused:
            refusal = refused[0]["name"] + " is refused: " + refused[0]["refused"]
    parts += [("", part) for part in _thermometers(bus, there, settings, parts)]
    return Sensors(name, parts, bus, refusal)


def _present(bus, there, tables):
    """(table, address) of each chip of the tables that answers as itself."""
    for table in tables:
        for address in table["addresses"]:
            if address in there and _is_itself(answers, bus, address, table):
                yield table, address


def _is_itself(answers, bus, address, table):
    """Asked more than once: a transfer that is spoilt would cost the sensor until the next start."""
    return any(answers(bus, address, table) for _ in range(ASKED))


def _uv_chips(bus, there, kind, cadence_ms):
    chips = []
    for table, make in UV_CHIPS:
        if kind in ("auto", table["name"]):
            for _, address in _present(bus, there, (table,)):
                chips.append(make(bus, address, table, cadence_ms))
    return chips[: len(PREFIXES)]


def _analog_source(bus, there, kind, pin):
    """The name and the source of an analog breakout: an external ADC where there is one, else a pin."""
    table = ads1115_table.TABLE
    if pin is None:
        for address in table["addresses"]:
            if address in there and _is_itself(ads1115.answers, bus, address, table):
                return kind + "+ads1115", ads1115.Ads1115(bus, address, table)
        pin = analog.usual_uv_pin()
    return kind, analog.Input(pin)


def _thermometers(bus, there, settings, parts):
    """One thermometer beside the UV sensor, unless that has its own, and the board's own heat."""
    has_one = any(name == "temperature_c" for _, part in parts for name, _, _ in part.channels)
    if not has_one:
        if settings["temperature_pin"] is not None:
            yield analog.Thermometer(settings["temperature_pin"])
        else:
            for table, address in _present(bus, there, (mcp9808.TABLE,)):
                yield Chip(bus, address, table, settings["cadence_ms"])
                break
    if hasattr(analog.ADC, "CORE_TEMP"):
        yield analog.BoardHeat()
