"""The control chart of a spot's checks: each comparison with the meter, and whether they drift."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from baskline.charts.dates import date_span, date_ticks, day_label
from baskline.charts.frame import NARROW_BELOW_PX, Frame, text_size_px
from baskline.charts.scale import Scale
from baskline.charts.sheet import Row, Sheet
from baskline.charts.text import width_px
from calibrate.control_chart import BASELINE_CHECKS, ControlChart, Signal
from calibrate.spot_check import Verdict, verdict_of
from ingest.checking import Series
from ingest.store.checks import CheckRecord

_K: Final = 2.0
_DAY_MS: Final = 86_400_000
_HEADROOM: Final = 0.12
_SHAPES: Final = {Verdict.WITHIN: "circle", Verdict.DOUBTFUL: "diamond", Verdict.OUT: "cross"}
_SIGNAL_WORDS: Final = {
    Signal.BEYOND_LIMIT: "beyond a limit",
    Signal.DRIFT: "drift",
    Signal.RUN: "all on one side",
}


@dataclass(frozen=True, slots=True)
class ChecksDrawing:
    """What the chart shows: the checks of one calibration, at least one, in order of time."""

    label: str
    checks: tuple[CheckRecord, ...]
    chart: ControlChart
    time_zone: ZoneInfo


def checks_drawing(label: str, series: Series, time_zone: str) -> ChecksDrawing | None:
    """Gather what the chart of a spot's checks shows; None before the first of them."""
    if series.chart is None:
        return None
    return ChecksDrawing(label, series.checks, series.chart, ZoneInfo(time_zone))


def checks_spec(checks: ChecksDrawing, *, total_width_px: int = 760, dark: bool = False) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification, `total_width_px` wide (360 for a phone)."""
    return _Pen(checks, total_width_px, dark=dark).spec()


class _Pen:
    def __init__(self, checks: ChecksDrawing, total_width_px: int, *, dark: bool) -> None:
        self._checks = checks
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        self._from_ms = checks.checks[0].at_ms - 2 * _DAY_MS
        self._to_ms = checks.checks[-1].at_ms + 2 * _DAY_MS
        self._first, self._last = (self._day(ms) for ms in (checks.checks[0].at_ms, checks.checks[-1].at_ms))
        names = ["weighted mean", *(words for _, words in self._limits())]
        self._strip_px = size + 9
        plot = 190 if narrow else 230
        self._sheet = Sheet(
            Frame.of(
                total_width_px,
                title=f"Checks of {checks.label}",
                summary=list(self._summary()),
                caption=list(self._caption()),
                left_px=44 if narrow else 50,
                right_px=round(max(width_px(name, size) for name in names)) + 10,
                height_px=self._strip_px + plot,
            ),
            dark=dark,
        )
        low, high = self._range()
        self._y = Scale(low, high, self._strip_px + plot, self._strip_px)

    def spec(self) -> dict[str, Any]:
        self._ewma_limits()
        self._lines()
        self._ewma()
        self._points()
        self._axes()
        return self._sheet.spec(self._description())

    def _day(self, at_ms: int) -> date:
        return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(self._checks.time_zone).date()

    def _x(self, at_ms: float) -> float:
        return self._sheet.frame.width_px * (at_ms - self._from_ms) / (self._to_ms - self._from_ms)

    def _range(self) -> tuple[float, float]:
        chart = self._checks.chart
        reach = [
            value
            for check in self._checks.checks
            for value in (check.ratio - _K * check.u_ratio, check.ratio + _K * check.u_ratio)
        ]
        low, high = min([*reach, chart.low, 1.0]), max([*reach, chart.high, 1.0])
        room = _HEADROOM * (high - low)
        return low - room, high + room

    def _limits(self) -> list[tuple[float, str]]:
        chart = self._checks.chart
        return [
            (chart.high, f"limit {chart.high:.2f}"),
            (chart.centre, f"centre {chart.centre:.2f}"),
            (chart.low, f"limit {chart.low:.2f}"),
        ]

    def _ewma_limits(self) -> None:
        chart = self._checks.chart
        rows = [
            {"x": self._x(check.at_ms), "y": self._y.px(float(high)), "y2": self._y.px(float(low))}
            for check, low, high in zip(self._checks.checks, chart.ewma_low, chart.ewma_high, strict=True)
        ]
        if len(rows) > 1:
            self._sheet.ribbon("mean_limits", rows, self._sheet.colours.past)

    def _lines(self) -> None:
        sheet, colours = self._sheet, self._sheet.colours
        dashed: list[Row] = []
        plain: list[Row] = []
        for value, _ in self._limits():
            y = self._y.px(value)
            rows = plain if value == self._checks.chart.centre else dashed
            ink = colours.quiet if value == self._checks.chart.centre else colours.limit
            rows.append({"x": 0, "x2": sheet.frame.width_px, "y": y, "y2": y, "ink": ink, "ratio": value})
        sheet.rules("centre", plain, strokeWidth=1)
        sheet.rules("limits", dashed, strokeWidth=1.4, strokeDash=[7, 4])

    def _ewma(self) -> None:
        sheet, chart = self._sheet, self._checks.chart
        rows = [
            {"x": self._x(check.at_ms), "y": self._y.px(float(mean)), "mean": float(mean)}
            for check, mean in zip(self._checks.checks, chart.ewma, strict=True)
        ]
        sheet.line("means", rows, sheet.colours.line, strokeWidth=2.2)
        named = [
            (value, words, sheet.colours.quiet if value == chart.centre else sheet.colours.limit)
            for value, words in self._limits()
        ]
        named.append((float(chart.ewma[-1]), "weighted mean", sheet.colours.line))
        line = sheet.frame.size_px + 3
        placed = _apart([self._y.px(value) for value, _, _ in named], line)
        sheet.words(
            "line_names",
            [
                {"x": sheet.frame.width_px + 6, "y": y, "words": words, "ink": ink}
                for y, (_, words, ink) in zip(placed, named, strict=True)
            ],
            halo=False,
            align="left",
        )

    def _points(self) -> None:
        sheet, colours = self._sheet, self._sheet.colours
        why: dict[int, list[str]] = {}
        for index, signal in self._checks.chart.signals:
            why.setdefault(index, []).append(_SIGNAL_WORDS[signal])
        whiskers, words = [], []
        points: dict[Verdict, list[dict[str, object]]] = {verdict: [] for verdict in Verdict}
        for index, check in enumerate(self._checks.checks):
            verdict = verdict_of(check.e_n)
            x, y = self._x(check.at_ms), self._y.px(check.ratio)
            upper, lower = (self._y.px(check.ratio + side * _K * check.u_ratio) for side in (1, -1))
            ink = colours.ink if verdict is Verdict.WITHIN else colours.limit
            whiskers.append({"x": x, "x2": x, "y": upper, "y2": lower, "ink": ink})
            points[verdict].append(
                {
                    "x": x,
                    "y": y,
                    "ink": ink,
                    "day": self._day(check.at_ms).isoformat(),
                    "ratio": check.ratio,
                    "u_ratio": check.u_ratio,
                    "verdict": verdict.value,
                }
            )
            said = ([] if verdict is Verdict.WITHIN else [verdict.value]) + why.get(index, [])
            if said:
                words.append({"x": x, "y": upper - 5, "words": ", ".join(said), "ink": ink})
        sheet.rules("intervals", whiskers, strokeWidth=1.3)
        for verdict, rows in points.items():
            sheet.points(verdict.value, rows, _SHAPES[verdict], filled=verdict is Verdict.WITHIN, size=70)
        size = sheet.frame.size_px - 1
        sheet.words(
            "check_words",
            [_within(row, sheet.frame.width_px, size) for row in words],
            align="center",
            baseline="bottom",
            fontSize=size,
        )

    def _axes(self) -> None:
        sheet = self._sheet
        sheet.y_axis("ratio_axis", self._y, "meter over spot")
        label_px = width_px("30 Nov", sheet.frame.size_px) + 14
        zone = self._checks.time_zone
        ticks = [
            (datetime(day.year, day.month, day.day, 12, tzinfo=zone).timestamp() * 1000, day)
            for day in date_ticks(
                self._day(self._from_ms), self._day(self._to_ms), sheet.frame.width_px, label_px
            )
        ]
        sheet.x_axis(
            "day_axis",
            [(self._x(ms), day_label(day)) for ms, day in ticks if self._from_ms <= ms <= self._to_ms],
            self._y.bottom_px,
        )

    def _summary(self) -> Iterator[str]:
        verdicts = [verdict_of(check.e_n) for check in self._checks.checks]
        yield date_span(self._first, self._last)
        for verdict in Verdict:
            n = verdicts.count(verdict)
            if n:
                yield f"{n} {verdict.value}"
        last = self._checks.checks[-1]
        yield f"the last: meter {last.reference_uvi:g}, spot {last.uvi:.2f}, {verdicts[-1].value}"
        signals = dict.fromkeys(
            _SIGNAL_WORDS[why] for i, why in self._checks.chart.signals if i == len(verdicts) - 1
        )
        if signals:
            yield f"the chart says: {', '.join(signals)}"

    def _caption(self) -> Iterator[str]:
        yield "thin lines: ± (k = 2, about 95 %)"
        yield "line: weighted mean (EWMA) with its limits shaded"
        yield "limits: 3 sigma"
        if len(self._checks.checks) < BASELINE_CHECKS:
            yield f"before {BASELINE_CHECKS} checks, limits from what the checks themselves state"

    def _description(self) -> str:
        told = [
            f"{day_label(self._day(check.at_ms))}: {check.ratio:.2f} ± {_K * check.u_ratio:.2f},"
            f" {verdict_of(check.e_n).value}"
            for check in self._checks.checks
        ]
        return (
            f"{self._sheet.frame.whole_title}. {'; '.join(self._summary())}."
            f" Meter over spot, {', '.join(words for _, words in self._limits())}. {'; '.join(told)}."
        )


def _within(row: dict[str, Any], room_px: float, size_px: float) -> dict[str, Any]:
    """Return centred words moved so far that they do not leave the plot."""
    half = width_px(row["words"], size_px) / 2
    return {**row, "x": float(np.clip(row["x"], half, room_px - half))}


def _apart(heights_px: list[float], line_px: float) -> list[float]:
    """Return the heights moved down so far that lines of words do not overlap, in the order given."""
    order = np.argsort(heights_px, kind="stable")
    placed = list(heights_px)
    lowest = -np.inf
    for index in order.tolist():
        placed[index] = lowest = max(placed[index], lowest + line_px)
    return placed
