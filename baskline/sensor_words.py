"""What to do about a sensor that a board cannot use, as the board's introduction tells it."""

_REMEDIES = {
    "refused": "{chip} sees no UV: it infers it from other light. Take another sensor (hardware/README.md)",
    "missing": "{chip} does not answer. Unplug the board, and check the sensor's wires and that it has 3.3 V",
}


def sensor_trouble(sensor: str) -> str | None:
    """Return what is wrong with the sensor of a board and what to do; None if nothing is."""
    chip, _, what = sensor.rpartition("-")
    remedy = _REMEDIES.get(what)
    return None if remedy is None else remedy.format(chip=chip)
