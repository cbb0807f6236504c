"""The chart of one spot's day: one definition for files, page and report.

It has a fixed size, so that words can be placed where they have room.  Everything is told apart by place,
words, lightness or stroke before colour: it holds in grey print and for any colour vision.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from baskline.charts.clock_axis import clock_ticks
from baskline.charts.curve import curve_pieces
from baskline.charts.drawing import DayDrawing, Hole
from baskline.charts.frame import framed
from baskline.charts.hatching import hatched
from baskline.charts.layout import Layout
from baskline.charts.palette import Palette, palette
from baskline.charts.text import width_px
from baskline.charts.vega_lite import Part, end, ink, layer, quantity, word
from baskline.wording import clock_time
from exposure.days import HOUR_MS

_DASHED: Final = [4, 3]
_UNTIL: Final = {"x2": end("until")}
_HIGH: Final = {"y2": end("high")}

Row = Mapping[str, object]


def day_spec(day: DayDrawing, *, total_width_px: int = 760, dark: bool = False) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification, `total_width_px` wide (360 for a phone)."""
    layout = Layout.of(day, total_width_px)
    colours = palette(dark=dark)
    pen = _Pen(day, layout, colours)
    layers = [
        *pen.band(),
        *pen.holes(),
        *pen.curve(),
        *pen.ceiling(),
        *pen.spans(),
        *pen.margin_words(),
    ]
    axis = {
        "labelColor": colours.ink,
        "labelFontSize": layout.size_px,
        "titleColor": colours.quiet,
        "titleFontSize": layout.size_px - 1,
        "titleFontWeight": "normal",
        "domainColor": colours.quiet,
        "tickColor": colours.quiet,
        "grid": False,
    }
    offset_px = layout.title_offset_px
    return framed(
        layers, layout, colours, _description(day), title_offset_px=offset_px, rows=pen.rows, axis=axis
    )


class _Pen:
    """Draws the layers; `rows` gathers their data by name."""

    def __init__(self, day: DayDrawing, layout: Layout, colours: Palette) -> None:
        self._day = day
        self._colours = colours
        self._span_ink = {
            "now": colours.limit,
            "today": colours.ink,
            "note": colours.quiet,
            "doubtful": colours.quiet,
        }
        self._layout = layout
        self.rows: dict[str, Sequence[Row]] = {}
        hours = (day.ends_ms - day.starts_ms) / HOUR_MS
        self._whole_day = {"hour": 0.0, "until": hours}
        self._x = quantity("hour", scale={"domain": [0, hours], "nice": False}, axis=_clock_axis(day, layout))
        self._y_scale = {
            "domain": [0, layout.top_uvi],
            "range": [layout.height_px, layout.strip_px],
            "nice": False,
        }
        self._y_axis = {
            "title": "UVI",
            "titleAngle": 0,
            "titleAlign": "right",
            "titleBaseline": "bottom",
            "titleX": -6,
            "titleY": layout.strip_px - 8,
            "tickCount": 5,
            "labelPadding": 4,
            "zindex": 1,  # over the band
        }

    def band(self) -> list[Part]:
        """Draw the band as a lighter area."""
        band = self._day.band
        rows = [{**self._whole_day, "low": band.low_uvi, "high": band.high_uvi}]
        return [self._layer("band", rows, "rect", {"color": self._colours.band}, "low", **_UNTIL, **_HIGH)]

    def holes(self) -> list[Part]:
        """Hatch what was not seen, and say why where there is room."""
        layout, day = self._layout, self._day
        top_px, bottom_px = layout.strip_px, float(layout.height_px)
        areas, strokes, words = [], [], []
        for hole in day.holes:
            left_px, right_px = layout.x_px(hole.start_ms), layout.x_px(hole.end_ms)
            areas.append({**self._span_hours(left_px, right_px), "low": 0.0, "high": layout.top_uvi})
            strokes += [
                {
                    **self._span_hours(x, x2),
                    "uvi": layout.uvi_at(y),
                    "to_uvi": layout.uvi_at(y2),
                }
                for x, y, x2, y2 in hatched(left_px, right_px, top_px, bottom_px)
            ]
            if width_px(hole.words, layout.size_px) + 12 < right_px - left_px:
                middle_px = (left_px + right_px) / 2
                words.append(
                    {
                        "hour": layout.hour_at(middle_px),
                        "uvi": layout.uvi_at((top_px + bottom_px) / 2),
                        "words": hole.words,
                        "ink": self._colours.ink,
                    }
                )
        if not areas:
            return []
        hatch, thin = self._colours.hatch, {"strokeWidth": 0.8}
        return [
            self._layer(
                "holes", areas, "rect", {"fill": None, "stroke": hatch, **thin}, "low", **_UNTIL, **_HIGH
            ),
            self._layer(
                "hatching", strokes, "rule", {"color": hatch, **thin}, "uvi", **_UNTIL, y2=end("to_uvi")
            ),
            *self._words("hole_words", words, baseline="middle", fontSize=layout.size_px),
        ]

    def curve(self) -> list[Part]:
        """Draw UVI with its interval: solid, or dashed and paler where it is doubtful."""
        good, doubtful = curve_pieces(self._day.trace, self._day.starts_ms)
        layers = []
        for name, rows in (("curve", good), ("doubtful_curve", doubtful)):
            if not rows:
                continue
            line: Part = (
                {"strokeWidth": 1.7} if name == "curve" else {"strokeWidth": 1.2, "strokeDash": _DASHED}
            )
            shade = {"color": self._colours.line, "opacity": 0.28 if name == "curve" else 0.13}
            part = word("part")
            layers += [
                self._layer(name, rows, "area", shade, "lower", y2=end("upper"), detail=part),
                self._layer(name, rows, "line", {"color": self._colours.line, **line}, "uvi", detail=part),
            ]
        return layers

    def ceiling(self) -> list[Part]:
        """Draw the ceiling over everything: it must never be passed."""
        if not self._layout.ceiling_shown:
            return []
        rows = [{**self._whole_day, "uvi": self._day.band.ceiling_uvi}]
        style = {"color": self._colours.limit, "strokeDash": [7, 4], "strokeWidth": 1.6}
        return [self._layer("ceiling", rows, "rule", style, "uvi", **_UNTIL)]

    def spans(self) -> list[Part]:
        """Draw what happened as bars in lanes above the curve, with words over each, and thin lines down."""
        layout = self._layout
        bars: dict[bool, list[Row]] = {False: [], True: []}
        words, lines = [], []
        for each in layout.lanes.placed:
            bar_px = (each.lane + 1) * layout.lane_px - 4
            uvi, colour = layout.uvi_at(bar_px), self._span_ink[each.span.look]
            dashed = each.span.look == "doubtful"
            bars[dashed].append({**self._span_hours(each.left_px, each.right_px), "uvi": uvi, "ink": colour})
            words.append(
                {
                    "hour": layout.hour_at(each.words_px),
                    "uvi": layout.uvi_at(bar_px - 5),
                    "words": each.words,
                    "ink": colour,
                }
            )
            if not dashed:
                ends_px = {each.left_px, each.right_px} if each.is_long else {each.left_px}
                lines += [
                    {"hour": layout.hour_at(x), "uvi": uvi, "zero": 0.0, "ink": colour}
                    for x in sorted(ends_px)
                ]
        if not words:
            return []
        thin, dashes = {"strokeWidth": 0.8, "opacity": 0.5}, {"strokeWidth": 2, "strokeDash": _DASHED}
        return [
            self._layer("span_ends", lines, "rule", thin, "uvi", y2=end("zero"), color=ink()),
            self._layer("spans", bars[False], "rule", {"strokeWidth": 4}, "uvi", **_UNTIL, color=ink()),
            self._layer("doubtful_spans", bars[True], "rule", dashes, "uvi", **_UNTIL, color=ink()),
            *self._words("span_words", words, align="left", baseline="bottom", fontSize=layout.size_px - 1),
        ]

    def margin_words(self) -> list[Part]:
        """Name the limits beside them, in the right margin."""
        layout = self._layout
        rows = [
            {
                "hour": layout.hour_at(layout.width_px + 6),
                "uvi": layout.uvi_at(word.y_px),
                "words": word.words,
                "ink": self._colours.limit if word.look == "limit" else self._colours.band_ink,
            }
            for word in layout.margin
        ]
        return self._words("margin_words", rows, align="left", baseline="middle", fontSize=layout.size_px)

    def _words(self, name: str, rows: Sequence[Row], **style: Any) -> list[Part]:
        """Write words over an edge of paper, so that no line crosses them."""
        text, paper = word("words"), self._colours.paper
        edge = {"color": paper, "stroke": paper, "strokeWidth": 4, "strokeJoin": "round"}
        return [
            self._layer(name, rows, "text", {**edge, **style}, "uvi", text=text),
            self._layer(name, rows, "text", style, "uvi", text=text, color=ink()),
        ]

    def _layer(
        self, name: str, rows: Sequence[Row], mark: str, style: Part, uvi: str, **channels: Part
    ) -> Part:
        """Return a layer of `rows` whose field `uvi` says how high they stand."""
        self.rows[name] = rows
        y = quantity(uvi, scale=self._y_scale, axis=self._y_axis)
        return layer(name, mark, style, x=self._x, y=y, **channels)

    def _span_hours(self, left_px: float, right_px: float) -> dict[str, float]:
        return {"hour": self._layout.hour_at(left_px), "until": self._layout.hour_at(right_px)}


def _description(day: DayDrawing) -> str:
    """Return what the chart shows, for whoever cannot see it."""
    band = day.band
    told = [
        f"{day.title}: {', '.join(day.summary)}",
        f"band {band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}",
        *(span.words for span in day.spans),
        *(f"no UVI from {_from_to(hole, day)}: {hole.words}" for hole in day.holes),
    ]
    return f"{'. '.join(told)}."


def _from_to(hole: Hole, day: DayDrawing) -> str:
    end = "24:00" if hole.end_ms == day.ends_ms else clock_time(hole.end_ms, day.time_zone)
    return f"{clock_time(hole.start_ms, day.time_zone)} to {end}"


def _clock_axis(day: DayDrawing, layout: Layout) -> Part:
    ticks = clock_ticks(day.starts_ms, day.ends_ms, day.time_zone, narrow=layout.narrow)
    words = ", ".join(f"'{tick.hour:g}': '{tick.label}'" for tick in ticks)
    return {
        "values": [tick.hour for tick in ticks],
        "labelExpr": f"({{{words}}})[datum.value]",
        "labelFlush": False,
        "labelOverlap": False,
        "title": list(layout.caption),
        "titleAlign": "left",
        "titleAnchor": "start",
        "titleX": layout.edge_px - layout.left_px,
        "titlePadding": 10,
    }
