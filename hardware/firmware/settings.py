"""What the keeper chose, kept over power cuts in one small file.

To change something, from the computer (see hardware/README.md):
    mpremote resume exec "import settings; settings.change(cadence_ms=500)"
"""

import json
import os

PATH = "settings.json"

DEFAULTS = {
    "label": "",  # the keeper's own note: where this board hangs
    "cadence_ms": 1000,
    "sensor": "auto",  # or the kind of the analog breakout, or of the chip: see sensors.py
    "uv_pin": None,  # ADC pin of an analog breakout; None is an external ADC, or the board's usual pin
    "temperature_pin": None,  # ADC pin of an analog thermometer beside the UV sensor; None is none
    "sda_pin": None,  # pins of the I2C bus; None is the board's usual ones
    "scl_pin": None,
    "watchdog": True,
}

KIND_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789-"

# The sensor averages over 100 ms, whole half-cycles of 50 and 60 Hz mains; under 200 ms over 50 ms.
SHORTEST_CADENCE_MS = 100
LONGEST_CADENCE_MS = 600_000


def problem(name, value):
    """What is wrong with a setting, or None."""
    if name not in DEFAULTS:
        return "there is no setting " + name
    if name == "cadence_ms":
        if type(value) is not int or not SHORTEST_CADENCE_MS <= value <= LONGEST_CADENCE_MS:
            return "cadence_ms is a whole number from %d to %d" % (SHORTEST_CADENCE_MS, LONGEST_CADENCE_MS)
    elif name.endswith("_pin"):
        if value is not None and type(value) is not int:
            return name + " is a pin number or None"
    elif type(value) is not type(DEFAULTS[name]):
        return "%s is like %r" % (name, DEFAULTS[name])
    elif name == "label" and len(value) > 60:
        return "label has at most 60 characters"
    elif name == "sensor" and not (0 < len(value) <= 20 and all(c in KIND_LETTERS for c in value)):
        return "sensor is a kind such as ltr390, in small letters, digits and -"
    return None


def load():
    """The settings; a missing or spoilt file, or a spoilt entry, counts as not set."""
    chosen = dict(DEFAULTS)
    try:
        with open(PATH) as file:
            stored = json.load(file)
        for name, value in stored.items():
            if problem(name, value) is None:
                chosen[name] = value
    except (OSError, ValueError, AttributeError):
        pass
    return chosen


def change(**changes):
    """Change settings for good; they count from the next start."""
    for name, value in changes.items():
        wrong = problem(name, value)
        if wrong:
            raise ValueError(wrong)
    chosen = load()
    chosen.update(changes)
    # Written beside and then renamed over: a power cut leaves the old file or the new one, whole.
    try:
        with open(PATH + ".new", "w") as file:
            json.dump(chosen, file)
        os.rename(PATH + ".new", PATH)
    except OSError as error:  # such as no room: what was chosen before stays as it was
        try:
            os.remove(PATH + ".new")
        except OSError:
            pass
        raise error
    if hasattr(os, "sync"):
        os.sync()
    return chosen
