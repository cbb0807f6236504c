"""Runs on the board's interpreter: a board that can do nothing right does not feed its watchdog."""

import json
import time

import main
import sensors


class Feeds:
    timeout = None
    fed = 0

    def __init__(self, timeout):
        Feeds.timeout = timeout

    def feed(self):
        Feeds.fed += 1


class Broken:
    """Fails in a way that no sensor should, so that nothing catches it but the loop."""

    name = "broken"
    refusal = None
    lead_ms = 0
    channels = (("photodiode_mv", "mV", 2),)
    reads = 0

    def begin(self):
        pass

    def read(self, values):
        Broken.reads += 1
        raise ValueError("broken")


class Hasty:
    """A time module with which a hundred failures take no time."""

    ticks_ms = staticmethod(time.ticks_ms)
    ticks_diff = staticmethod(time.ticks_diff)
    ticks_add = staticmethod(time.ticks_add)

    def sleep_ms(self, _):
        if Broken.reads > 100:
            raise KeyboardInterrupt


main.machine.WDT = Feeds
main.time = Hasty()
sensors.find = lambda chosen: Broken()
try:
    main.run()
except KeyboardInterrupt:
    pass
print()
print(json.dumps({"timeout": Feeds.timeout, "fed": Feeds.fed, "reads": Broken.reads}))
