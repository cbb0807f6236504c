"""The chart of one spot's day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from exposure.bands import Band
from exposure.trace import Trace

HOUR_MS = 3_600_000

# Told apart by lightness, dash and label as well as hue: they hold in grey print and for any colour vision.
_INK = "#22303a"
_QUIET = "#6b7780"
_BAND = "#d9e8c9"
_LINE = "#14557b"
_CEILING = "#9c1c1c"
_MISSING = "#e7e5e1"
_FONT = "Roboto, Noto Sans, DejaVu Sans, sans-serif"


@dataclass(frozen=True, slots=True)
class Marker:
    """Something that happened at one moment of the day: drawn above the curve with its words."""

    at_ms: int
    words: str


@dataclass(frozen=True, slots=True)
class DayDrawing:
    """What the chart of a day shows.  `gaps_ms` are (from, to) pairs in UTC milliseconds."""

    title: str
    subtitle: Sequence[str]
    starts_ms: int
    ends_ms: int
    time_zone: ZoneInfo
    trace: Trace
    band: Band | None
    gaps_ms: Sequence[tuple[int, int]]
    markers: Sequence[Marker]


def day_chart(day: DayDrawing, *, width_px: int = 860, height_px: int = 360) -> alt.LayerChart:
    """Draw the day: the band, the ceiling, UVI and its interval (k = 2), what is missing, what happened."""
    hours = (day.ends_ms - day.starts_ms) / HOUR_MS
    x_scale = alt.Scale(domain=[0, hours], nice=False)
    top_uvi = _top_uvi(day)
    y_scale = alt.Scale(domain=[0, top_uvi], nice=False)
    x = alt.X("hour:Q", scale=x_scale, axis=_clock_axis(day, narrow=width_px < 500))
    y_axis = alt.Axis(grid=False, tickCount=6, title="UV Index (UVI)")
    layers: list[alt.Chart] = []

    if day.band is not None:
        layers += _limits(day.band, hours, x, y_scale, y_axis)
    if day.gaps_ms:
        layers += _missing(day, x, y_scale)
    layers += _curve(day, x, y_scale, y_axis)
    if day.markers:
        layers += _markers(day, x, y_scale, top_uvi)

    chart: alt.LayerChart = (
        alt.layer(*layers)
        .properties(
            width=width_px,
            height=height_px,
            title=alt.TitleParams(
                day.title,
                subtitle=list(day.subtitle),
                anchor="start",
                fontSize=17,
                subtitleFontSize=12,
                subtitleColor=_QUIET,
                color=_INK,
                offset=14,
            ),
            background="white",
            padding={"left": 12, "right": 18, "top": 12, "bottom": 12},
        )
        .configure(font=_FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=_INK, titleColor=_QUIET, domainColor=_QUIET, tickColor=_QUIET, titleFontWeight="normal"
        )
    )
    return chart


def _top_uvi(day: DayDrawing) -> float:
    seen = [1.0]
    if len(day.trace):
        seen.append(float(day.trace.upper_uvi.max()))
    if day.band is not None:
        seen.append(day.band.ceiling_uvi)
    return max(seen) * 1.22


def _hour(at_ms: int, day: DayDrawing) -> float:
    return (at_ms - day.starts_ms) / HOUR_MS


def _clock_axis(day: DayDrawing, *, narrow: bool) -> alt.Axis:
    """Label elapsed hours with the keeper's clock, which skips or repeats an hour twice a year."""
    every_h = 6 if narrow else 3
    labels: dict[int, str] = {}
    for hour in range(round((day.ends_ms - day.starts_ms) / HOUR_MS) + 1):
        at = datetime.fromtimestamp((day.starts_ms + hour * HOUR_MS) / 1000, day.time_zone)
        if at.hour % every_h == 0 and at.strftime("%H:%M") not in labels.values():
            labels[hour] = at.strftime("%H:%M")
    labels[round((day.ends_ms - day.starts_ms) / HOUR_MS)] = "24:00"
    words = ", ".join(f"'{hour}': '{label}'" for hour, label in labels.items())
    return alt.Axis(
        values=list(labels), labelExpr=f"({{{words}}})[datum.value]", grid=False, title=None, labelFlush=False
    )


def _missing(day: DayDrawing, x: alt.X, y_scale: alt.Scale) -> list[alt.Chart]:
    rows: list[dict[str, Any]] = [
        {"hour": _hour(start, day), "until": _hour(end, day), "words": "no readings"}
        for start, end in day.gaps_ms
    ]
    chart = alt.Chart(alt.Data(values=rows))
    wide = [row for row in rows if row["until"] - row["hour"] > 1.5]
    return [
        chart.mark_rect(color=_MISSING, opacity=0.85).encode(x=x, x2="until:Q"),
        alt.Chart(alt.Data(values=[{**row, "zero": 0} for row in wide]))
        .mark_text(align="left", baseline="bottom", dx=4, dy=-4, fontSize=10, color=_QUIET)
        .encode(x=x, y=alt.Y("zero:Q", scale=y_scale), text="words:N"),
    ]


def _limits(band: Band, hours: float, x: alt.X, y_scale: alt.Scale, y_axis: alt.Axis) -> list[alt.Chart]:
    rows = [
        {
            "hour": 0.0,
            "until": hours,
            "low": band.low_uvi,
            "high": band.high_uvi,
            "ceiling": band.ceiling_uvi,
            "band_words": f"band {band.low_uvi:g} to {band.high_uvi:g}",
            "ceiling_words": f"ceiling {band.ceiling_uvi:g}",
        }
    ]
    chart = alt.Chart(alt.Data(values=rows))
    label: dict[str, Any] = {"align": "left", "dx": 5, "fontSize": 11}
    return [
        chart.mark_rect(color=_BAND).encode(
            x=x, x2="until:Q", y=alt.Y("low:Q", scale=y_scale, axis=y_axis), y2="high:Q"
        ),
        chart.mark_rule(color=_CEILING, strokeDash=[7, 4], strokeWidth=1.6).encode(
            x=x, x2="until:Q", y=alt.Y("ceiling:Q", scale=y_scale)
        ),
        chart.mark_text(baseline="top", dy=4, color="#3f5a26", **label).encode(
            x=x, y=alt.Y("high:Q", scale=y_scale), text="band_words:N"
        ),
        chart.mark_text(baseline="bottom", dy=-4, color=_CEILING, **label).encode(
            x=x, y=alt.Y("ceiling:Q", scale=y_scale), text="ceiling_words:N"
        ),
    ]


def _curve(day: DayDrawing, x: alt.X, y_scale: alt.Scale, y_axis: alt.Axis) -> list[alt.Chart]:
    trace = day.trace
    rows = [
        {
            "hour": round(_hour(int(trace.utc_ms[i]), day), 4),
            "uvi": round(float(trace.uvi[i]), 4),
            "lower": round(float(trace.lower_uvi[i]), 4),
            "upper": round(float(trace.upper_uvi[i]), 4),
            "part": int(trace.segment[i]),
            "doubtful": bool(trace.doubtful[i]),
        }
        for i in range(len(trace))
    ]
    chart = alt.Chart(alt.Data(values=rows))
    y = alt.Y("uvi:Q", scale=y_scale, axis=y_axis)
    return [
        chart.mark_area(color=_LINE, opacity=0.25).encode(
            x=x, y=alt.Y("lower:Q", scale=y_scale, axis=y_axis), y2="upper:Q", detail="part:N"
        ),
        chart.mark_line(color=_LINE, strokeWidth=1.8).encode(x=x, y=y, detail="part:N"),
        alt.Chart(alt.Data(values=[row for row in rows if row["doubtful"]]))
        .mark_point(color=_QUIET, size=14, filled=False, strokeWidth=0.8)
        .encode(x=x, y=y),
    ]


def _markers(day: DayDrawing, x: alt.X, y_scale: alt.Scale, top_uvi: float) -> list[alt.Chart]:
    """Place words on alternate lines, turned inwards at the right edge, so that neighbours stay readable."""
    hours = _hour(day.ends_ms, day)
    rows = []
    for index, marker in enumerate(sorted(day.markers, key=lambda each: each.at_ms)):
        hour = _hour(marker.at_ms, day)
        line = index % 3
        rows.append(
            {
                "hour": hour,
                "foot": 0,
                "level": top_uvi * (0.985 - 0.05 * line),
                "words": marker.words,
                "leftwards": hour > hours * 0.7,
            }
        )
    level = alt.Y("level:Q", scale=y_scale)
    layers = [
        alt.Chart(alt.Data(values=rows))
        .mark_rule(color=_INK, strokeWidth=0.8, opacity=0.55)
        .encode(x=x, y=level, y2="foot:Q")
    ]
    for leftwards in (False, True):
        side = [row for row in rows if row["leftwards"] is leftwards]
        layers.append(
            alt.Chart(alt.Data(values=side))
            .mark_text(
                align="right" if leftwards else "left",
                baseline="middle",
                dx=-5 if leftwards else 5,
                fontSize=11,
                color=_INK,
            )
            .encode(x=x, y=level, text="words:N")
        )
    return layers
