"""The colours of all charts, for light paper and for a dark page."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours by what they are for.  Words come in the inks only: each is readable on `paper`."""

    paper: str
    ink: str
    quiet: str  # axes, captions
    line: str  # what was measured
    limit: str  # the ceiling, and what passed a limit
    band: str  # an area behind the rest
    band_ink: str
    past: str  # an area behind the rest that says: not yet, or no longer
    hatch: str
    grid: str


LIGHT: Final = Palette(
    paper="#ffffff",
    ink="#22303a",
    quiet="#5d6a73",
    line="#14557b",
    limit="#9c1c1c",
    band="#dcead0",
    band_ink="#3f5a26",
    past="#eceff1",
    hatch="#b4babf",
    grid="#e4e8ea",
)
DARK: Final = Palette(
    paper="#14191d",
    ink="#e8edf0",
    quiet="#a7b3bc",
    line="#84c5ec",
    limit="#ff9a8f",
    band="#2c3f22",
    band_ink="#b9d699",
    past="#252c32",
    hatch="#5f6b74",
    grid="#2b333a",
)


def palette(*, dark: bool) -> Palette:
    """Return the colours for a dark page or for paper."""
    return DARK if dark else LIGHT
