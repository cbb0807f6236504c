"""The chart of a calibration: its curve with the interval, and the pairs that it was made from."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from baskline.charts.errors import ChartError
from baskline.charts.files import save_chart
from baskline.charts.frame import NARROW_BELOW_PX, Frame, text_size_px
from baskline.charts.scale import Scale
from baskline.charts.sheet import Sheet
from calibrate.calibration import Calibration
from calibrate.curve import COVERAGE_FACTOR, Curve, curve_of
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.points import Points

_STEPS: Final = 121
_HEADROOM: Final = 1.04
_RESIDUAL_ROOM: Final = 1.15
# Differences smaller than this are the meter's last digit.
_LEAST_RESIDUAL_UVI: Final = 0.1


def save_calibration_chart(calibration: Calibration, points: Points | None, path: Path) -> None:
    """Draw a calibration into a .png, .svg or .pdf file, with its pairs where they are known."""
    if len(calibration.channels) > 1:
        raise ChartError(
            "a calibration of several channels has no curve to draw",
            where=str(path),
            remedy="See its pairs with `baskline calibrate fit`, its budget with `baskline calibrate show`",
        )
    save_chart(lambda: calibration_spec(calibration, points), path)


def calibration_spec(
    calibration: Calibration, points: Points | None, *, total_width_px: int = 760, dark: bool = False
) -> dict[str, Any]:
    """Return the chart of a calibration with one channel, `total_width_px` wide (360 for a phone)."""
    return _Pen(calibration, points, total_width_px, dark=dark).spec()


class _Pen:
    def __init__(
        self, calibration: Calibration, points: Points | None, total_width_px: int, *, dark: bool
    ) -> None:
        self._calibration, self._points = calibration, points
        self._curve = curve = curve_of(calibration, steps=_STEPS)
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        strip = size + 9
        curve_px = strip + (220 if narrow else 300)
        height_px = curve_px if points is None else curve_px + 44 + 90
        self._sheet = Sheet(
            Frame.of(
                total_width_px,
                title=f"Calibration of {calibration.name}" if calibration.name else "Calibration",
                summary=[
                    LAMP_KINDS[calibration.lamp_kind].title,
                    f"sensor {calibration.sensor_kind}",
                    f"made on {calibration.made_on}",
                    calibration.identity,
                ],
                caption=list(self._caption()),
                left_px=36 if narrow else 44,
                right_px=6,
                height_px=height_px,
                under_px=24 + size + 4,
            ),
            dark=dark,
        )
        width = self._sheet.frame.width_px
        self._x = Scale(float(curve.level[0]), float(curve.level[-1]), 0, width)
        highest = float(curve.high_uvi.max())
        residual = _LEAST_RESIDUAL_UVI
        if points is not None:
            half = COVERAGE_FACTOR * points.u_reference_uvi
            highest = max(highest, float((points.reference_uvi + half).max()))
            residual = max(residual, float((abs(self._off(points)) + half).max()))
        self._y = Scale(0, highest * _HEADROOM, curve_px, strip)
        residual *= _RESIDUAL_ROOM
        self._off_y = Scale(-residual, residual, height_px, height_px - 90)

    def spec(self) -> dict[str, Any]:
        sheet, ink = self._sheet, self._sheet.colours.ink
        self._draw_curve()
        sheet.y_axis("uvi_axis", self._y, "UVI")
        ticks = self._x.ticks(4 if sheet.frame.narrow else 8)
        bottom = self._off_y.bottom_px if self._points is not None else self._y.bottom_px
        if self._points is not None:
            self._draw_residuals(self._points)
            self._draw_pairs("pairs", self._points, self._points.reference_uvi, self._y)
            dark = [
                {"x": self._x.px(float(level)), "y": self._y.px(0), "ink": ink, "level": float(level)}
                for level in self._points.dark[:, 0]
            ]
            sheet.points("dark", dark, "triangle-up", filled=False, size=70)
            sheet.x_axis("curve_floor", [(self._x.px(level), "") for level, _ in ticks], self._y.bottom_px)
        sheet.x_axis("level_axis", [(self._x.px(level), words) for level, words in ticks], bottom)
        title = {"x": sheet.frame.width_px, "y": bottom + 26, "ink": sheet.colours.quiet}
        sheet.words(
            "level_title",
            [{**title, "words": self._curve.channel}],
            halo=False,
            align="right",
            baseline="top",
            fontSize=sheet.frame.size_px - 1,
        )
        return sheet.spec(self._description())

    def _off(self, points: Points) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
        """Return the meter less the curve for each pair [UVI]."""
        curve = self._curve
        return np.asarray(points.reference_uvi - np.interp(points.levels[:, 0], curve.level, curve.uvi))

    def _draw_curve(self) -> None:
        curve: Curve = self._curve
        columns = (curve.level, curve.uvi, curve.low_uvi, curve.high_uvi)
        rows = list(zip(*(column.tolist() for column in columns), strict=True))
        line = self._sheet.colours.line
        self._sheet.ribbon(
            "interval",
            [
                {"x": self._x.px(level), "y": self._y.px(max(high, 0)), "y2": self._y.px(max(low, 0))}
                for level, _, low, high in rows
            ],
            line,
            opacity=0.22,
        )
        self._sheet.line(
            "curve",
            [
                {"x": self._x.px(level), "y": self._y.px(uvi), "level": level, "uvi": uvi}
                for level, uvi, _, _ in rows
            ],
            line,
            strokeWidth=2,
        )

    def _draw_residuals(self, points: Points) -> None:
        sheet = self._sheet
        zero = {"x": 0, "x2": sheet.frame.width_px, "y": self._off_y.px(0), "y2": self._off_y.px(0)}
        sheet.rules("no_difference", [{**zero, "ink": sheet.colours.line}], strokeWidth=1.5)
        self._draw_pairs("differences", points, self._off(points), self._off_y)
        sheet.y_axis("difference_axis", self._off_y, "meter less curve, UVI", about=3)

    def _draw_pairs(self, name: str, points: Points, values: Any, scale: Any) -> None:
        ink = self._sheet.colours.ink
        whiskers, dots = [], []
        for level, value, u_value in zip(
            points.levels[:, 0].tolist(), values.tolist(), points.u_reference_uvi.tolist(), strict=True
        ):
            x, half = self._x.px(level), COVERAGE_FACTOR * u_value
            whiskers.append(
                {"x": x, "x2": x, "y": scale.px(value + half), "y2": scale.px(value - half), "ink": ink}
            )
            dots.append({"x": x, "y": scale.px(value), "ink": ink, "level": level, "uvi": value})
        self._sheet.rules(f"{name}_intervals", whiskers, strokeWidth=1.4)
        self._sheet.points(name, dots, "circle", filled=False, size=62)

    def _caption(self) -> Iterator[str]:
        yield "line: curve"
        yield "shading and bars: ± (k = 2, about 95 %)"
        if self._points is not None:
            yield "circles: pairs"
            if len(self._points.dark):
                yield "triangles: dark"

    def _description(self) -> str:
        low, high = self._calibration.uvi_range
        told = [
            f"{self._sheet.frame.whole_title}: {', '.join(self._sheet.frame.summary)}",
            f"holds from UVI {low:g} to {high:g}",
        ]
        if self._points is not None:
            told += _pairs_in_words(self._points, self._off(self._points).tolist())
        return f"{'. '.join(told)}."


def _pairs_in_words(points: Points, off_uvi: Sequence[float]) -> list[str]:
    pairs = zip(points.levels[:, 0].tolist(), points.reference_uvi.tolist(), off_uvi, strict=True)
    return [f"at {level:.0f} the meter shows {uvi:g}, {off:+.2f} from the curve" for level, uvi, off in pairs]
