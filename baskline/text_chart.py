"""A calibration's curve drawn with letters, for the terminal."""

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from calibrate.curve import Curve
    from calibrate.points import Points

_HEADROOM = 1.05
_LABELS = 8
_FEWEST = 20


def curve_lines(curve: "Curve", points: "Points | None", *, columns: int = 68, rows: int = 14) -> list[str]:
    """Return the curve as lines: `*` the curve, `:` its interval (k = 2), `o` a pair.

    The lines are as long as `columns`, but never shorter than can be read.
    """
    columns = max(columns - _LABELS, _FEWEST)
    top_uvi = float(curve.high_uvi.max())
    if points is not None and len(points):
        top_uvi = max(top_uvi, float(points.reference_uvi.max()))
    top_uvi *= _HEADROOM
    low, high = float(curve.level[0]), float(curve.level[-1])
    levels = np.linspace(low, high, columns)
    grid = [[" "] * columns for _ in range(rows)]

    def row_of(uvi: float) -> int:
        return rows - 1 - min(rows - 1, max(0, int(uvi / top_uvi * rows)))

    for column, level in enumerate(levels):
        uvi, bottom, top = (
            float(np.interp(level, curve.level, part)) for part in (curve.uvi, curve.low_uvi, curve.high_uvi)
        )
        for row in range(row_of(top), row_of(bottom) + 1):
            grid[row][column] = ":"
        grid[row_of(uvi)][column] = "*"
    if points is not None:
        for level, uvi in zip(points.levels[:, 0].tolist(), points.reference_uvi.tolist(), strict=True):
            column = round((level - low) / (high - low) * (columns - 1))
            if 0 <= column < columns:
                grid[row_of(uvi)][column] = "o"
    labels = [""] * rows
    for share in (0.0, 0.25, 0.5, 0.75):
        uvi = top_uvi / _HEADROOM * share
        labels[row_of(uvi)] = f"{uvi:.1f}"
    labels[row_of(top_uvi / _HEADROOM)] = f"{top_uvi / _HEADROOM:.1f}"
    lines = [f"{label:>6} |{''.join(row)}".rstrip() for label, row in zip(labels, grid, strict=True)]
    lines.append(f"{'':6} +{'-' * columns}")
    lines.append(f"{'':7} {low:<{columns // 2}.0f}{high:>{columns - columns // 2}.0f}")
    marks = "* curve   : its interval, k = 2" + ("" if points is None else "   o pair")
    legend = [f"{'UVI':>6}  over {curve.channel};", marks]
    fits = len("  ".join(legend)) <= columns + _LABELS
    lines += ["  ".join(legend)] if fits else [legend[0], f"{'':8}{legend[1]}"]
    return lines
