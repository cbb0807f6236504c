"""The chart of a calibration: its curve with the interval, and the pairs that it was made from."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from baskline.charts.errors import ChartError
from baskline.charts.files import save_chart
from baskline.charts.text import FONT
from calibrate.calibration import Calibration
from calibrate.curve import COVERAGE_FACTOR, Curve, curve_of
from calibrate.lamp_kinds import LAMP_KINDS
from calibrate.points import Points

_INK: Final = "#22303a"
_QUIET: Final = "#5d6a73"
_LINE: Final = "#14557b"
_GRID: Final = "#e4e8ea"
_WIDTH_PX: Final = 620
_HEIGHT_PX: Final = 330
_RESIDUAL_PX: Final = 90
_STEPS: Final = 121

Row = Mapping[str, object]


def save_calibration_chart(calibration: Calibration, points: Points | None, path: Path) -> None:
    """Draw a calibration into a .png, .svg or .pdf file, with its pairs where they are known."""
    if len(calibration.channels) > 1:
        raise ChartError(
            "a calibration of several channels has no curve to draw",
            where=str(path),
            remedy="See its pairs with `baskline calibrate fit`, its budget with `baskline calibrate show`",
        )
    save_chart(lambda: calibration_spec(calibration, points), path)


def calibration_spec(calibration: Calibration, points: Points | None) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification."""
    import altair as alt

    curve = curve_of(calibration, steps=_STEPS)
    x_scale = alt.Scale(domain=[float(curve.level[0]), float(curve.level[-1])], nice=False, padding=8)
    panels = [_curve_panel(alt, curve, points, x_scale)]
    if points is not None:
        panels.append(_residual_panel(alt, curve, points, x_scale))
    subtitle = [
        f"{LAMP_KINDS[calibration.lamp_kind].title}; sensor {calibration.sensor_kind};"
        f" {calibration.made_on}; {calibration.identity}",
        "shading and bars: ± (k = 2, about 95 %)",
    ]
    chart = (
        alt.vconcat(*panels, spacing=14)
        .properties(
            title=alt.TitleParams(
                f"Calibration of {calibration.name}" if calibration.name else "Calibration",
                subtitle=subtitle,
                anchor="start",
                frame="group",
                fontSize=18,
                subtitleFontSize=13,
                subtitleColor=_QUIET,
                subtitlePadding=5,
                color=_INK,
                offset=14,
            ),
            background="white",
            padding=14,
        )
        .configure(font=FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=_INK,
            labelFontSize=13,
            titleColor=_QUIET,
            titleFontSize=13,
            titleFontWeight="normal",
            domainColor=_QUIET,
            tickColor=_QUIET,
            gridColor=_GRID,
        )
    )
    spec: dict[str, Any] = chart.to_dict()
    return spec


def _curve_panel(alt: Any, curve: Curve, points: Points | None, x_scale: Any) -> Any:
    rows = [
        {"level": level, "uvi": uvi, "low": low, "high": high}
        for level, uvi, low, high in zip(
            *(part.tolist() for part in (curve.level, curve.uvi, curve.low_uvi, curve.high_uvi)),
            strict=True,
        )
    ]
    last_panel = points is None
    x = alt.X("level:Q", scale=x_scale, axis=_x_axis(alt, curve.channel, named=last_panel))
    y_axis = alt.Axis(title="UVI", titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-8, titleX=-34)
    base = alt.Chart(alt.InlineData(rows))
    layers = [
        base.mark_area(color=_LINE, opacity=0.22).encode(x=x, y=alt.Y("low:Q", axis=y_axis), y2="high:Q"),
        base.mark_line(color=_LINE, strokeWidth=2).encode(x=x, y=alt.Y("uvi:Q", axis=y_axis)),
    ]
    if points is not None:
        layers += _pairs(alt, _pair_rows(curve, points), x, y_axis, "reading")
        if len(points.dark):
            dark = [{"level": float(level), "uvi": 0.0} for level in points.dark[:, 0]]
            layers.append(
                alt.Chart(alt.InlineData(dark))
                .mark_point(shape="triangle-up", size=70, color=_INK, filled=False, strokeWidth=1.6)
                .encode(x=x, y=alt.Y("uvi:Q", axis=y_axis))
            )
    return alt.layer(*layers).properties(width=_WIDTH_PX, height=_HEIGHT_PX)


def _residual_panel(alt: Any, curve: Curve, points: Points, x_scale: Any) -> Any:
    x = alt.X("level:Q", scale=x_scale, axis=_x_axis(alt, curve.channel, named=True))
    axis = alt.Axis(
        title="meter less curve, UVI",
        titleAngle=0,
        titleAlign="left",
        titleAnchor="end",
        titleY=-8,
        titleX=-34,
        tickCount=3,
    )
    zero = alt.Chart(alt.InlineData([{"zero": 0.0}])).mark_rule(color=_LINE, strokeWidth=1.5)
    layers = [
        zero.encode(y=alt.Y("zero:Q", axis=axis)),
        *_pairs(alt, _pair_rows(curve, points), x, axis, "off"),
    ]
    return alt.layer(*layers).properties(width=_WIDTH_PX, height=_RESIDUAL_PX)


def _pairs(alt: Any, rows: Sequence[Row], x: Any, axis: Any, what: str) -> list[Any]:
    base = alt.Chart(alt.InlineData(rows))
    return [
        base.mark_rule(color=_INK, strokeWidth=1.4).encode(
            x=x, y=alt.Y(f"{what}_low:Q", axis=axis), y2=f"{what}_high:Q"
        ),
        base.mark_point(size=62, color=_INK, fill="white", strokeWidth=1.8, opacity=1).encode(
            x=x, y=alt.Y(f"{what}:Q", axis=axis)
        ),
    ]


def _pair_rows(curve: Curve, points: Points) -> list[Row]:
    level = points.levels[:, 0]
    half = COVERAGE_FACTOR * points.u_reference_uvi
    off = points.reference_uvi - np.interp(level, curve.level, curve.uvi)
    return [
        {
            "level": float(level[i]),
            "reading": float(points.reference_uvi[i]),
            "reading_low": float(points.reference_uvi[i] - half[i]),
            "reading_high": float(points.reference_uvi[i] + half[i]),
            "off": float(off[i]),
            "off_low": float(off[i] - half[i]),
            "off_high": float(off[i] + half[i]),
        }
        for i in range(len(points))
    ]


def _x_axis(alt: Any, channel: str, *, named: bool) -> Any:
    title = f"{channel}   (circles: pairs, triangles: dark)" if named else None
    return alt.Axis(title=title, labels=named, ticks=named, titlePadding=8, tickCount=8)
