"""How numbers read in the sentences of events."""


def uvi_text(uvi: float, u_uvi: float, k: float, *, at_least: bool) -> str:
    """Return `2.9 ± 0.3`, `152 ± 14`: with the decimals that the interval supports."""
    half_width = k * u_uvi
    digits = decimals_by(half_width)
    return f"{'at least ' if at_least else ''}{number_text(uvi, digits)} ± {half_width:.{digits}f}"


def decimals_by(half_width: float) -> int:
    """Return how many decimals a number deserves: two digits of its interval, at most two."""
    return 0 if half_width >= 9.5 else 1 if half_width >= 0.095 else 2


def number_text(value: float, digits: int) -> str:
    """Return a number to so many decimals, its zero without a sign."""
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def duration_text(seconds: float) -> str:
    """Return `45 s`, `15 min` or `3.5 h`."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
