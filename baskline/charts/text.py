"""How much room words take, and how to fit them."""

from collections.abc import Iterable
from typing import Final

# Liberation Sans comes inside the renderer, so that a chart is the same on a computer without any fonts; the
# next two have its metrics, for pages and SVG files on other computers.
FONT: Final = "Liberation Sans, Arial, Helvetica, sans-serif"

# Parts of the font size.  Taken by eye from the font, on the generous side; a test measures drawn text.
_NARROW: Final = dict.fromkeys("ijl.,:;'|!ft ()[]·", 0.34)
_WIDE: Final = dict.fromkeys("mwABCDGHKNOQRSUVXY%&±–", 0.86) | dict.fromkeys("MW@…", 1.04)
_USUAL: Final = 0.6


def width_px(text: str, size_px: float) -> float:
    """Return at least how much room `text` takes at a font size."""
    return size_px * sum(_NARROW.get(letter, _WIDE.get(letter, _USUAL)) for letter in text)


def shortened(text: str, size_px: float, room_px: float) -> str:
    """Return `text`, cut at its end with … where it does not fit."""
    if width_px(text, size_px) <= room_px:
        return text
    while text and width_px(f"{text}…", size_px) > room_px:
        text = text[:-1].rstrip()
    return f"{text}…"


def packed(phrases: Iterable[str], size_px: float, room_px: float, *, between: str = " · ") -> list[str]:
    """Return the phrases in as few lines as fit the room, in order; one too long for a line is broken.

    What stands between two phrases also ends the line after which the second begins another: so they are
    not read as one.
    """
    lines: list[str] = []
    after = between.rstrip()
    room_px -= width_px(after, size_px)
    for phrase in phrases:
        fits = width_px(phrase, size_px) <= room_px
        longer = f"{lines[-1]}{between}{phrase}" if lines else ""
        if lines and fits and width_px(longer, size_px) <= room_px:
            lines[-1] = longer
            continue
        if lines:
            lines[-1] += after
        if fits or " " not in phrase:
            lines.append(shortened(phrase, size_px, room_px))
        else:
            lines += packed(phrase.split(" "), size_px, room_px, between=" ")
    return lines
