"""Hatched areas: nothing else says "not seen" as well in colour, in grey and to any eye."""

from collections.abc import Iterator
from typing import Final

_SPACING_PX: Final = 9.0
_LEAST_PX: Final = 0.5


def hatched(
    left_px: float, right_px: float, top_px: float, bottom_px: float
) -> Iterator[tuple[float, float, float, float]]:
    """Yield strokes (x, y, x2, y2) that rise to the right and fill a rectangle; y grows downwards.

    They lie on one grid whatever the rectangle, so that neighbours match.
    """
    height = bottom_px - top_px
    number = int((left_px - height) // _SPACING_PX)
    while True:
        number += 1
        # This stroke would start at the bottom at x = foot and reach the top at foot + height.
        foot = number * _SPACING_PX
        if foot >= right_px:
            return
        start, end = max(foot, left_px), min(foot + height, right_px)
        if end - start > _LEAST_PX:
            yield start, bottom_px - (start - foot), end, bottom_px - (end - foot)
