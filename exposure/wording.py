"""How numbers read in the sentences of events."""


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
