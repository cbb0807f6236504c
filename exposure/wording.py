"""What events say: sentences with their numbers, and advice that is safe to follow."""

OVER_ADVICE = (
    "Unplug the lamp before touching it (it is hot, and its UV hurts eyes), raise it or lower the basking "
    "place, check with a hand-held meter, and ask a reptile veterinarian if the animal seems unwell: "
    "nothing is switched for you"
)
UNDER_ADVICE = (
    "See whether a plant, the mesh or dirt shades the spot or its sensor, then check the lamp's age and "
    "distance with a hand-held meter, and unplug the lamp before touching it"
)
BACK_ADVICE = "Nothing to do"
SILENT_ADVICE = (
    "Check the board's USB plug and cable and whether its light is on: until it speaks again nothing is "
    "known of its spots, which is not the same as no UV"
)


def uvi_text(uvi: float, u_uvi: float, k: float, *, at_least: bool) -> str:
    """Return `2.9 ± 0.3`: one decimal, two where the uncertainty is under 0.1."""
    half_width = k * u_uvi
    digits = 1 if half_width >= 0.095 else 2
    return f"{'at least ' if at_least else ''}{_signed(uvi, digits)} ± {half_width:.{digits}f}"


def _signed(uvi: float, digits: int) -> str:
    text = f"{uvi:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def duration_text(seconds: float) -> str:
    """Return `45 s`, `15 min` or `3.5 h`."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
