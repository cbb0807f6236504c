"""What each sensor of a board is to the rest of the firmware."""


class Part:
    """A sensor: `name`, `channels` as (name, unit, decimals), and a reading of them.

    A class for another kind of sensor says its channels and reads them; see chip.py for one on the I2C bus.
    """

    name = ""
    channels = ()
    lead_ms = 0  # how long before it is read its measurement must begin; 0 for one that measures all the time

    def begin(self):
        """Start a measurement, `lead_ms` before it is read."""

    def read(self, values, at):
        """Put the channels into `values` from `at` on; return the marks (OSError: the sensor is silent)."""
        raise NotImplementedError

    def failed(self):
        """Take note that the last read raised OSError."""
