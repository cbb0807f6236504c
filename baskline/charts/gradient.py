"""The chart of an enclosure's gradient: what its spots gave over one day, on one scale."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from baskline.charts.clock_axis import clock_ticks
from baskline.charts.curve import curve_pieces
from baskline.charts.frame import NARROW_BELOW_PX, Frame, text_size_px
from baskline.charts.scale import Scale
from baskline.charts.sheet import Sheet
from baskline.charts.text import width_px
from baskline.measured_words import full_day
from baskline.wording import no_value_words, seen_until_ms
from exposure.days import HOUR_MS
from exposure.gradient import Gradient, gradient
from exposure.trace import Trace, trace
from exposure.zones import zone
from ingest.config import Config
from ingest.day import SpotDay

# Minutes would be finer than a line between lines can show.
_BIN_MS: Final = 5 * 60_000
_HEADROOM: Final = 1.1
_RETREAT_UVI: Final = zone(1).mean_high_uvi
_STROKES: Final[tuple[tuple[list[int], float], ...]] = (
    ([1, 0], 2.4),
    ([9, 4], 2.0),
    ([2, 3], 2.0),
    ([10, 3, 2, 3], 1.8),
)
"""Dashes and width from the strongest spot to the weakest; more spots than these begin anew."""


@dataclass(frozen=True, slots=True)
class GradientSpot:
    """A spot with its trace of the day; `why_not` says why it has none."""

    key: str
    label: str
    trace: Trace
    why_not: str


@dataclass(frozen=True, slots=True)
class GradientDrawing:
    """What the chart of an enclosure's gradient shows; times are UTC milliseconds."""

    title: str
    starts_ms: int
    ends_ms: int
    time_zone: ZoneInfo
    gradient: Gradient
    spots: Sequence[GradientSpot]


def gradient_drawing(label: str, days: Sequence[SpotDay], config: Config, now_ms: int) -> GradientDrawing:
    """Gather what the chart shows of an enclosure's spots, at least one, on the same day."""
    bounds = days[0].bounds
    return GradientDrawing(
        title=f"{label}, {full_day(bounds.date)}",
        starts_ms=bounds.start_ms,
        ends_ms=bounds.end_ms,
        time_zone=ZoneInfo(bounds.time_zone),
        gradient=gradient(
            {shown.spot: shown.profile for shown in days},
            {shown.spot: config.spots[shown.spot].label for shown in days},
        ),
        spots=[
            GradientSpot(
                shown.spot,
                config.spots[shown.spot].label,
                trace(shown.samples, bin_ms=_BIN_MS, max_gap_ms=round(shown.profile.max_gap_s * 1000)),
                "" if shown.profile.dose_uvi_h is not None else _why_not(shown, now_ms),
            )
            for shown in days
        ],
    )


def _why_not(shown: SpotDay, now_ms: int) -> str:
    return "nothing yet" if seen_until_ms(shown, now_ms) == shown.bounds.start_ms else no_value_words(shown)


def gradient_spec(
    enclosure: GradientDrawing, *, total_width_px: int = 760, dark: bool = False
) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification, `total_width_px` wide (360 for a phone)."""
    return _Pen(enclosure, total_width_px, dark=dark).spec()


class _Pen:
    def __init__(self, enclosure: GradientDrawing, total_width_px: int, *, dark: bool) -> None:
        self._enclosure = enclosure
        order = {spot: place for place, spot in enumerate(enclosure.gradient.spots)}
        self._shown = sorted(
            (spot for spot in enclosure.spots if len(spot.trace)),
            key=lambda spot: order.get(spot.key, len(order)),
        )
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        self._strip_px = size + 9
        plot = 200 if narrow else 250
        names = [*(spot.label for spot in self._shown), "seen too little"]
        self._sheet = Sheet(
            Frame.of(
                total_width_px,
                title=enclosure.title,
                summary=list(self._summary()),
                caption=list(self._caption()),
                left_px=34 if narrow else 42,
                right_px=round(max(width_px(name, size) for name in names)) + 8,
                height_px=self._strip_px + plot,
            ),
            dark=dark,
        )
        highest = max([_RETREAT_UVI, *(float(spot.trace.upper_uvi.max()) for spot in self._shown)])
        self._y = Scale(0, highest * _HEADROOM, self._strip_px + plot, self._strip_px)

    def spec(self) -> dict[str, Any]:
        self._retreat()
        for number, spot in enumerate(self._shown):
            self._curve(number, spot)
        self._names()
        self._axes()
        return self._sheet.spec(self._description())

    def _x(self, hour: float) -> float:
        hours = (self._enclosure.ends_ms - self._enclosure.starts_ms) / HOUR_MS
        return self._sheet.frame.width_px * hour / hours

    def _retreat(self) -> None:
        sheet = self._sheet
        box = {"x": 0, "x2": sheet.frame.width_px, "y": self._y.px(_RETREAT_UVI), "y2": self._y.px(0)}
        sheet.boxes("retreat", [{**box, "ink": sheet.colours.band, "uvi": _RETREAT_UVI}])

    def _curve(self, number: int, spot: GradientSpot) -> None:
        sheet = self._sheet
        dash, stroke_px = _STROKES[number % len(_STROKES)]
        pieces = curve_pieces(spot.trace, self._enclosure.starts_ms)
        for name, points in zip(("", "_doubtful"), pieces, strict=True):
            rows = [
                {
                    "part": point["part"],
                    "x": self._x(point["hour"]),
                    "y": self._y.px(point["uvi"]),
                    "hour": point["hour"],
                    "uvi": point["uvi"],
                }
                for point in points
            ]
            sides = [
                {
                    "part": point["part"],
                    "x": self._x(point["hour"]),
                    "y": self._y.px(point["upper"]),
                    "y2": self._y.px(max(point["lower"], 0)),
                }
                for point in points
            ]
            pale = bool(name)
            sheet.ribbon(
                f"{spot.key}{name}_interval", sides, sheet.colours.line, opacity=0.1 if pale else 0.2
            )
            sheet.line(
                f"{spot.key}{name}",
                rows,
                sheet.colours.quiet if pale else sheet.colours.line,
                strokeWidth=1.2 if pale else stroke_px,
                strokeDash=dash,
            )

    def _names(self) -> None:
        """Name each line beside the level that it had while it was lit."""
        sheet, mean_uvi = self._sheet, self._enclosure.gradient.mean_uvi
        line = sheet.frame.size_px + 3
        named = [
            (
                self._y.px(mean_uvi.get(spot.key, 0.0)) - line / 2,
                (spot.label, _mean_words(mean_uvi, spot.key)),
            )
            for spot in self._shown
        ]
        rows, lowest = [], -1e9
        floor = self._y.bottom_px - line / 2
        for number, (y, said) in enumerate(named):
            left = len(named) - number - 1
            top = min(max(y, lowest + line), floor - line - left * 2 * line)
            for part, each in enumerate(said):
                ink = sheet.colours.ink if part else sheet.colours.line
                rows.append(
                    {"x": sheet.frame.width_px + 6, "y": top + part * line, "words": each, "ink": ink}
                )
            lowest = top + line
        sheet.words("spot_names", rows, halo=False, align="left")
        retreat = {"x": 5, "y": self._y.px(_RETREAT_UVI) - 3, "ink": sheet.colours.band_ink}
        words = "retreat" if sheet.frame.narrow else f"retreat: mean to {_RETREAT_UVI:g}"
        sheet.words(
            "retreat_words",
            [{**retreat, "words": words}],
            align="left",
            baseline="bottom",
            fontSize=sheet.frame.size_px - 1,
        )

    def _axes(self) -> None:
        sheet, shown = self._sheet, self._enclosure
        sheet.y_axis("uvi_axis", self._y, "UVI")
        ticks = clock_ticks(shown.starts_ms, shown.ends_ms, shown.time_zone, narrow=sheet.frame.narrow)
        sheet.x_axis("clock_axis", [(self._x(tick.hour), tick.label) for tick in ticks], self._y.bottom_px)

    def _summary(self) -> Iterator[str]:
        yield from self._enclosure.gradient.sentence.split("; ")

    def _caption(self) -> Iterator[str]:
        yield f"clock time in {self._enclosure.time_zone.key}"
        if self._shown:
            yield "lines: mean of each five minutes"
            yield "shading: ± (k = 2, about 95 %)"
            yield f"at the foot: a retreat's mean, at most {_RETREAT_UVI:g}"
        for spot in self._enclosure.spots:
            if spot.why_not:
                yield f"not shown: {spot.label} ({spot.why_not})"

    def _description(self) -> str:
        mean_uvi = self._enclosure.gradient.mean_uvi
        told = [f"{spot.label}: {_mean_words(mean_uvi, spot.key)}" for spot in self._shown]
        told += [f"{spot.label}: {spot.why_not}" for spot in self._enclosure.spots if spot.why_not]
        return f"{self._sheet.frame.whole_title}. {'; '.join(self._summary())}. {'; '.join(told)}."


def _mean_words(mean_uvi: Mapping[str, float], spot: str) -> str:
    return f"mean {mean_uvi[spot]:.1f}" if spot in mean_uvi else "seen too little"
