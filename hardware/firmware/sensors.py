"""Which sensors this board has, read together as one."""

import analog
import wire


class Sensors:
    """All sensors of the board; one that fails leaves the others their values."""

    def __init__(self, parts):
        self.name = parts[0].name
        self._parts = parts
        self.channels = ()
        for part in parts:
            self.channels += part.channels

    def read(self, values):
        """Fill `values`, one for each channel; return the marks."""
        marks = 0
        at = 0
        for part in self._parts:
            for index in range(at, at + len(part.channels)):
                values[index] = wire.MISSING
            try:
                marks |= part.read(values, at)
            except OSError:
                marks |= wire.FAULT
            at += len(part.channels)
        return marks


def find(settings):
    """The sensors that the settings name, or that answer."""
    kind = settings["sensor"]
    if kind not in analog.LEAST_MV:
        kind = "analog"
    parts = [analog.Photodiode(kind, settings["uv_pin"], settings["cadence_ms"])]
    if settings["temperature_pin"] is not None:
        parts.append(analog.Thermometer(settings["temperature_pin"]))
    if hasattr(analog.ADC, "CORE_TEMP"):
        parts.append(analog.BoardHeat())
    return Sensors(parts)
