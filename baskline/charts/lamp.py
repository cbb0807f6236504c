"""The chart of a lamp as one of its spots sees it: what it gave, how it changes, when that matters."""

import math
from datetime import date, timedelta
from typing import Any, Final

from baskline.charts.dates import date_ticks, day_label
from baskline.charts.frame import NARROW_BELOW_PX, Frame, text_size_px
from baskline.charts.lamp_drawing import LampDrawing, lamp_drawing
from baskline.charts.lanes import Span, in_lanes
from baskline.charts.scale import Scale
from baskline.charts.sheet import Sheet
from baskline.charts.text import packed, width_px
from exposure.lamps import Forecast

__all__ = ["LampDrawing", "lamp_drawing", "lamp_spec"]

_TREND_DAYS: Final = 56
_LEAST_WORDS_PX: Final = 150
_DASHED: Final = [5, 4]


def lamp_spec(lamp: LampDrawing, *, total_width_px: int = 760, dark: bool = False) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification, `total_width_px` wide (360 for a phone)."""
    return _Pen(lamp, total_width_px, dark=dark).spec()


class _Pen:
    def __init__(self, lamp: LampDrawing, total_width_px: int, *, dark: bool) -> None:
        self._lamp = lamp
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        self._levels, self._forecast = lamp.levels, lamp.forecast
        self._first, self._last, self._end = lamp.first, lamp.last, lamp.end
        self._margin_words = self._limits_in_words()
        right = round(max([width_px(words, size) for _, words, _ in self._margin_words] + [30])) + 8
        left = 36 if narrow else 44
        width = total_width_px - left - right - 10
        happened = [*lamp.happened, (self._last, day_label(self._last), "note")]
        days = [max(self._day_number(day), 0) for day, _, _ in happened]
        spans = [Span(at, at, words, look) for at, (_, words, look) in zip(days, happened, strict=True)]
        lanes = in_lanes(spans, 0, self._day_number(self._end), room_px=width, size_px=size - 1, most=3)
        self._lanes, self._lane_px = lanes, size + 11
        self._strip_px = max(lanes.n_lanes, 1) * self._lane_px + 8
        plot = 200 if narrow else 250
        self._sheet = Sheet(
            Frame.of(
                total_width_px,
                title=lamp.title,
                summary=list(lamp.summary()),
                caption=list(lamp.caption()),
                left_px=left,
                right_px=right,
                height_px=self._strip_px + plot,
            ),
            dark=dark,
        )
        low, high = lamp.range_uvi
        self._y = Scale(low, high, self._strip_px + plot, self._strip_px)

    def spec(self) -> dict[str, Any]:
        self._band()
        if self._levels:
            self._burn_in()
        else:
            self._nothing()
        self._baseline()
        self._seen()
        self._trend()
        self._ahead()
        self._marks()
        self._axes()
        return self._sheet.spec(self._lamp.description())

    # -- where

    def _day_number(self, day: date) -> int:
        return (day - self._first).days

    def _x(self, day: date) -> float:
        """Return where a day stands, also one beyond the axis."""
        return self._sheet.frame.width_px * self._day_number(day) / self._day_number(self._end)

    def _limits_in_words(self) -> list[tuple[float, str, str]]:
        """Return (UVI, words, ink) of what is named in the right margin."""
        band, report = self._lamp.band, self._lamp.report
        words = [(band.high_uvi, f"band to {band.high_uvi:g}", "band")]
        if band.low_uvi > 0:
            words.append((band.low_uvi, f"from {band.low_uvi:g}", "band"))
        if report.baseline_uvi is not None:
            words.append((report.baseline_uvi, f"baseline {report.baseline_uvi:.2f}", "quiet"))
        if self._forecast is not None and self._forecast.limit in ("due", "ceiling"):
            limit = self._forecast.limit_uvi
            words.append(
                (limit, f"0.7 of it {limit:.2f}" if self._forecast.limit == "due" else "ceiling", "limit")
            )
        return words

    # -- what

    def _band(self) -> None:
        band, sheet = self._lamp.band, self._sheet
        top = self._y.px(min(band.high_uvi, self._y.high))
        bottom = self._y.px(max(band.low_uvi, self._y.low))
        box = {"x": 0, "x2": sheet.frame.width_px, "y": top, "y2": bottom, "ink": sheet.colours.band}
        sheet.boxes("band", [{**box, "low_uvi": band.low_uvi, "high_uvi": band.high_uvi}])
        inks = {"band": sheet.colours.band_ink, "quiet": sheet.colours.quiet, "limit": sheet.colours.limit}
        line = sheet.frame.size_px + 2
        placed: list[float] = []
        rows = []
        for uvi, words, look in sorted(self._margin_words, reverse=True):
            y = max([self._y.px(uvi), *(at + line for at in placed)])
            placed.append(y)
            rows.append({"x": sheet.frame.width_px + 6, "y": y, "words": words, "ink": inks[look]})
        sheet.words("limit_words", rows, halo=False, align="left")

    def _burn_in(self) -> None:
        """Shade the lamp's first hundred hours."""
        burning = self._lamp.burning_in
        if not burning:
            return
        sheet = self._sheet
        x, x2 = self._x(self._first), self._x(burning[-1] + timedelta(days=1))
        sheet.boxes(
            "burn_in",
            [{"x": x, "x2": x2, "y": self._strip_px, "y2": self._y.bottom_px, "ink": sheet.colours.hatch}],
            opacity=0.35,
        )
        words = "burn-in, first 100 h"
        sheet.words(
            "burn_in_words",
            [{"x": x + 5, "y": self._y.bottom_px - 6, "words": words, "ink": sheet.colours.ink}],
            align="left",
            baseline="bottom",
            fontSize=sheet.frame.size_px - 1,
        )

    def _nothing(self) -> None:
        sheet = self._sheet
        right = self._x(self._lamp.until)
        sheet.hatching("unknown", [(0.0, self._y.top_px, right, self._y.bottom_px)])
        middle = {"x": right / 2, "y": (self._y.top_px + self._y.bottom_px) / 2, "ink": sheet.colours.ink}
        sheet.words("unknown_words", [{**middle, "words": "no level known"}], align="center")

    def _baseline(self) -> None:
        uvi = self._lamp.report.baseline_uvi
        if uvi is not None:
            y = self._y.px(uvi)
            ink = self._sheet.colours.quiet
            row = {"x": 0, "x2": self._sheet.frame.width_px, "y": y, "y2": y, "ink": ink, "uvi": uvi}
            self._sheet.rules("baseline", [row], strokeDash=[1, 3], strokeWidth=1.2)

    def _seen(self) -> None:
        """Draw each day's level with its interval; a break where days are missing."""
        sheet = self._sheet
        ribbon, dots, part, before = [], [], 0, self._first
        for day, level, half in self._levels:
            part += (day - before).days > 1
            before = day
            x = self._x(day)
            place = {"x": x, "part": part, "day": day.isoformat()}
            ribbon.append({**place, "y": self._y.px(level + half), "y2": self._y.px(max(level - half, 0))})
            dots.append(
                {
                    "x": x,
                    "y": self._y.px(level),
                    "ink": sheet.colours.line,
                    "day": day.isoformat(),
                    "level_uvi": level,
                    "half_width_uvi": half,
                }
            )
        sheet.ribbon("level_intervals", ribbon, sheet.colours.line, opacity=0.2)
        sheet.points("levels", dots, "circle", filled=True, size=16 if sheet.frame.narrow else 24)

    def _trend(self) -> None:
        report = self._lamp.report
        if report.level_uvi is None or report.per_week is None:
            return
        first = self._last - timedelta(days=_TREND_DAYS)
        if report.steps:
            first = max(first, report.steps[-1].date)
        first = max(first, self._lamp.seasoned)
        rows = self._curve(first, self._last, report.level_uvi, report.per_week)
        self._sheet.line("trend", rows, self._sheet.colours.ink, strokeWidth=2)

    def _curve(self, first: date, last: date, level_uvi: float, per_week: float) -> list[dict[str, float]]:
        """Return points of a line that has `level_uvi` on the last day that was seen."""
        weeks = [(first - self._last).days / 7, (last - self._last).days / 7]
        steps = [weeks[0] + (weeks[1] - weeks[0]) * n / 24 for n in range(25)]
        return [
            {
                "x": self._x(self._last) + week * (self._x(self._last) - self._x(self._last - timedelta(7))),
                "y": self._y.px(level_uvi * math.exp(math.log1p(per_week) * week)),
            }
            for week in steps
        ]

    def _ahead(self) -> None:
        """Draw where the level goes if it goes on as now, and its interval."""
        report, sheet = self._lamp.report, self._sheet
        if report.level_uvi is None or report.per_week is None:
            return
        low, high = self._fan()
        slow = self._curve(self._last, self._end, report.level_uvi, low)
        fast = self._curve(self._last, self._end, report.level_uvi, high)
        expected = self._curve(self._last, self._end, report.level_uvi, report.per_week)
        floor, roof = self._y.bottom_px, self._y.top_px

        def inside(y: float) -> float:
            return min(max(y, roof), floor)

        fan = [
            {"x": one["x"], "y": inside(one["y"]), "y2": inside(two["y"])}
            for one, two in zip(fast, slow, strict=True)
        ]
        sheet.ribbon("ahead_interval", fan, sheet.colours.ink, opacity=0.14)
        sheet.line(
            "ahead",
            [row for row in expected if roof <= row["y"] <= floor],
            sheet.colours.ink,
            strokeWidth=1.6,
            strokeDash=_DASHED,
        )
        if self._forecast is not None:
            if not self._lamp.has_passed(self._forecast):
                self._when(self._forecast)
            self._forecast_words(self._forecast)

    def _fan(self) -> tuple[float, float]:
        """Return the changes a week, least and most, that meet the limit on the forecast's own days."""
        report, forecast = self._lamp.report, self._forecast
        assert report.level_uvi is not None
        assert report.per_week_low is not None
        assert report.per_week_high is not None
        rates = [report.per_week_low, report.per_week_high]
        if forecast is not None and not self._lamp.has_passed(forecast):
            way = math.log(forecast.limit_uvi / report.level_uvi)
            for day in (forecast.earliest, forecast.latest):
                if day is not None and day > self._last:
                    rates.append(math.expm1(7 * way / (day - self._last).days))
        return min(rates), max(rates)

    def _when(self, forecast: Forecast) -> None:
        """Mark on the limit when the level passes it."""
        sheet = self._sheet
        y, width, ink = self._y.px(forecast.limit_uvi), sheet.frame.width_px, sheet.colours.limit
        x = min(self._x(forecast.earliest), width)
        x2 = min(self._x(forecast.latest), width) if forecast.latest else float(width)
        sheet.rules("forecast", [{"x": x, "x2": x2, "y": y, "y2": y, "ink": ink}], strokeWidth=4)
        at = self._x(forecast.expected)
        if at <= width:
            dot = {"x": at, "y": y, "ink": ink, "expected": forecast.expected.isoformat()}
            sheet.points("forecast_expected", [dot], "diamond", filled=False, size=90)

    def _forecast_words(self, forecast: Forecast) -> None:
        """Write them into the corner that the level moves away from: it is free."""
        sheet, width, ink = self._sheet, self._sheet.frame.width_px, self._sheet.colours.limit
        size, line = sheet.frame.size_px, sheet.frame.size_px + 4
        room = max(width - self._x(self._last) - 16, _LEAST_WORDS_PX)
        lines = packed(self._lamp.forecast_phrases(forecast), size, room, between=" ")
        rises = (self._lamp.report.per_week or 0) > 0
        first = self._y.bottom_px - 8 - len(lines) * line if rises else self._y.top_px + 10
        rows = [
            {"x": width - 6, "y": first + n * line, "words": each, "ink": ink} for n, each in enumerate(lines)
        ]
        sheet.words("forecast_words", rows, halo=False, align="right", baseline="top")

    def _marks(self) -> None:
        sheet = self._sheet
        inks = {"now": sheet.colours.limit, "today": sheet.colours.ink, "note": sheet.colours.quiet}
        lines, words = [], []
        for each in self._lanes.placed:
            y = (each.lane + 1) * self._lane_px - 4
            ink = inks[each.span.look]
            lines.append(
                {"x": each.left_px, "x2": each.left_px, "y": y - 2, "y2": self._y.bottom_px, "ink": ink}
            )
            words.append({"x": each.words_px, "y": y - 4, "words": each.words, "ink": ink})
        sheet.rules("marks", lines, strokeWidth=0.9, opacity=0.6)
        sheet.words("mark_words", words, align="left", baseline="bottom", fontSize=sheet.frame.size_px - 1)

    def _axes(self) -> None:
        sheet = self._sheet
        sheet.y_axis("uvi_axis", self._y, "UVI")
        label_px = width_px("30 Nov", sheet.frame.size_px) + 14
        ticks = date_ticks(self._first, self._end, sheet.frame.width_px, label_px)
        sheet.x_axis("day_axis", [(self._x(day), day_label(day)) for day in ticks], self._y.bottom_px)
