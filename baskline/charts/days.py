"""The chart of a spot's last days: each day's dose with its interval, and where its hours of light lay."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from baskline.charts.days_drawing import SEEN_WHOLE, DaysDrawing, days_drawing
from baskline.charts.frame import NARROW_BELOW_PX, Frame, text_size_px
from baskline.charts.scale import Scale
from baskline.charts.sheet import Sheet
from baskline.charts.text import width_px
from exposure.profile import DayProfile

__all__ = ["DaysDrawing", "days_drawing", "days_spec"]

_K: Final = 2.0
_HEADROOM: Final = 1.16
_BAR_PART: Final = 0.62
# Columns narrower than this have no words of their own.
_LEAST_COLUMN_PX: Final = 26
_ROWS: Final = (
    ("over ceiling", "hours_above_ceiling"),
    ("above band", "hours_above_band"),
    ("in band", "hours_in_band"),
    ("below band", "hours_below_band"),
)


def days_spec(days: DaysDrawing, *, total_width_px: int = 760, dark: bool = False) -> dict[str, Any]:
    """Return the chart as a Vega-Lite specification, `total_width_px` wide (360 for a phone)."""
    return _Pen(days, total_width_px, dark=dark).spec()


@dataclass(frozen=True, slots=True)
class _Column:
    """A day's place: `profile` is None if nothing of it was seen."""

    day: date
    left_px: float
    right_px: float
    profile: DayProfile | None

    @property
    def middle_px(self) -> float:
        return (self.left_px + self.right_px) / 2

    @property
    def has_dose(self) -> bool:
        return self.profile is not None and self.profile.dose_uvi_h is not None

    @property
    def unseen(self) -> float:
        """The part of the day without a UVI."""
        return 1.0 if self.profile is None or not self.has_dose else 1 - self.profile.coverage


class _Pen:
    def __init__(self, days: DaysDrawing, total_width_px: int, *, dark: bool) -> None:
        self._days = days
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        self._strip_px = size + 9  # over the plot, for the axis' title
        self._dose_px = self._strip_px + (150 if narrow else 185)
        self._row_px = 34 if narrow else 38
        self._rows_px = self._dose_px + 34
        names = [name for name, _ in _ROWS]
        right = round(max(width_px(words, size) for words in [*names, days.usual_words])) + 8
        self._sheet = Sheet(
            Frame.of(
                total_width_px,
                title=days.title,
                summary=list(days.summary()),
                caption=list(days.caption()),
                left_px=36 if narrow else 44,
                right_px=right,
                height_px=self._rows_px + len(_ROWS) * self._row_px,
                under_px=40,
            ),
            dark=dark,
        )
        width = self._sheet.frame.width_px / days.n_days
        profiles = {profile.bounds.date: profile for profile in days.profiles}
        self._columns = [
            _Column(day, n * width, (n + 1) * width, profiles.get(day))
            for n, day in enumerate(days.first + timedelta(days=n) for n in range(days.n_days))
        ]
        highest = max(
            [1.0, *(p.dose_uvi_h + _K * (p.u_dose_uvi_h or 0) for p in days.seen if p.dose_uvi_h is not None)]
        )
        self._dose = Scale(0, highest * _HEADROOM, self._dose_px, self._strip_px)
        self._words_fit = width >= _LEAST_COLUMN_PX

    def spec(self) -> dict[str, Any]:
        self._usual()
        self._unseen()
        self._doses()
        self._hours()
        self._axes()
        return self._sheet.spec(self._days.description())

    def _usual(self) -> None:
        sheet = self._sheet
        if self._days.usual_range is None:
            return
        low, high = self._days.usual_range
        top, bottom = self._dose.px(min(high, self._dose.high)), self._dose.px(min(low, self._dose.high))
        box = {"x": 0, "y": top, "x2": sheet.frame.width_px, "y2": bottom, "ink": sheet.colours.band}
        sheet.boxes("usual", [{**box, "low_uvi_h": low, "high_uvi_h": high}])
        line = sheet.frame.size_px + 2
        y = min(max((top + bottom) / 2, self._strip_px + line), self._dose_px - line)
        ink = sheet.colours.band_ink
        self._margin(
            "usual_words",
            [(y - line / 2, "usual", ink), (y + line / 2, self._days.usual_words, ink)],
        )

    def _unseen(self) -> None:
        boxes = []
        for column in self._columns:
            if column.day == self._days.today or column.unseen <= 1 - SEEN_WHOLE:
                continue
            left = column.right_px - column.unseen * (column.right_px - column.left_px)
            boxes.append((left + 1, self._strip_px, column.right_px - 1, self._dose_px))
            if not column.has_dose:
                boxes.append(
                    (column.left_px + 1, self._rows_px, column.right_px - 1, self._sheet.frame.height_px)
                )
        self._sheet.hatching("unseen", boxes)
        size = self._sheet.frame.size_px
        words = [
            {
                "x": column.middle_px,
                "y": self._dose_px / 2,
                "words": "not seen",
                "ink": self._sheet.colours.ink,
            }
            for column in self._columns
            if column.profile is None and width_px("not seen", size) < column.right_px - column.left_px
        ]
        self._sheet.words("unseen_words", words, align="center")

    def _doses(self) -> None:
        sheet, colours = self._sheet, self._sheet.colours
        bars, edges, whiskers, words = [], [], [], []
        for column in self._columns:
            profile = column.profile
            if profile is None or profile.dose_uvi_h is None or profile.u_dose_uvi_h is None:
                continue
            dose, half = profile.dose_uvi_h, _K * profile.u_dose_uvi_h
            reach = _BAR_PART / 2 * (column.right_px - column.left_px)
            bar = {"x": column.middle_px - reach, "x2": column.middle_px + reach, "y": self._dose.px(dose)}
            bars.append(
                {
                    **bar,
                    "y2": float(self._dose_px),
                    "ink": colours.line,
                    "day": column.day.isoformat(),
                    "dose_uvi_h": dose,
                    "u_dose_uvi_h": profile.u_dose_uvi_h,
                    "coverage": profile.coverage,
                }
            )
            edges.append({**bar, "y2": self._dose.px(dose), "ink": colours.line})
            upper, lower = self._dose.px(dose + half), self._dose.px(max(dose - half, 0))
            at = {"x": column.middle_px, "x2": column.middle_px}
            whiskers.append({**at, "y": upper, "y2": lower, "ink": colours.ink})
            least = profile.at_least or column.unseen > 1 - SEEN_WHOLE
            number = f"{dose:.0f}" if dose >= 9.95 and sheet.frame.narrow else f"{dose:.1f}"
            said = f"≥ {number}" if least else number
            words.append({"x": column.middle_px, "y": upper - 4, "words": said, "ink": colours.ink})
        sheet.boxes("doses", bars, opacity=0.3)
        sheet.rules("dose_edges", edges, strokeWidth=2)
        sheet.rules("dose_intervals", whiskers, strokeWidth=1.5)
        if self._words_fit:
            sheet.words("dose_words", words, align="center", baseline="bottom")

    def _hours(self) -> None:
        sheet, colours = self._sheet, self._sheet.colours
        inks = (colours.limit, colours.line, colours.band_ink, colours.quiet)
        longest = max([1.0, *(column.profile.lit_hours or 0 for column in self._columns if column.profile)])
        bars, words, lines, names = [], [], [], []
        for number, ((name, field), ink) in enumerate(zip(_ROWS, inks, strict=True)):
            bottom = self._rows_px + (number + 1) * self._row_px - 4
            lines.append(
                {"x": 0, "x2": sheet.frame.width_px, "y": bottom, "y2": bottom, "ink": colours.quiet}
            )
            names.append((bottom - 9, name, ink))
            most_px = self._row_px - 8 - sheet.frame.size_px
            for column in self._columns:
                spent = getattr(column.profile, field) if column.has_dose else None
                if spent is None:
                    continue
                top = bottom - most_px * spent / longest
                reach = _BAR_PART / 2 * (column.right_px - column.left_px)
                if spent >= 0.05:
                    bars.append(
                        {
                            "x": column.middle_px - reach,
                            "x2": column.middle_px + reach,
                            "y": min(top, bottom - 1.5),
                            "y2": bottom,
                            "ink": ink,
                            "day": column.day.isoformat(),
                            "where": name,
                            "hours": spent,
                        }
                    )
                said, said_ink = (f"{spent:.1f}", ink) if spent >= 0.05 else ("0", colours.quiet)
                words.append({"x": column.middle_px, "y": top - 2, "words": said, "ink": said_ink})
        sheet.rules("row_lines", lines, strokeWidth=0.8)
        sheet.boxes("hours", bars, opacity=0.85)
        if self._words_fit:
            sheet.words(
                "hours_words", words, align="center", baseline="bottom", fontSize=sheet.frame.size_px - 1
            )
        self._margin("row_names", names)

    def _axes(self) -> None:
        sheet, colours = self._sheet, self._sheet.colours
        sheet.y_axis("dose_axis", self._dose, "dose, UVI·h", about=4)
        title = {"x": sheet.frame.edge_px - sheet.frame.left_px, "y": self._rows_px - 4, "ink": colours.quiet}
        sheet.words(
            "hours_title",
            [{**title, "words": "hours of light"}],
            halo=False,
            align="left",
            baseline="bottom",
            fontSize=sheet.frame.size_px - 1,
        )
        sheet.rules(
            "dose_floor",
            [
                {
                    "x": 0,
                    "x2": sheet.frame.width_px,
                    "y": float(self._dose_px),
                    "y2": float(self._dose_px),
                    "ink": colours.quiet,
                }
            ],
        )
        labels = []
        for column in self._columns:
            if not self._words_fit and column.day.weekday() != 0:
                continue
            over, under = (
                (f"{column.day:%a}", f"{column.day.day}")
                if self._words_fit
                else (f"{column.day.day}", f"{column.day:%b}")
            )
            if column.day == self._days.today:
                over = "today"
            y = sheet.frame.height_px + 4
            labels += [
                {"x": column.middle_px, "y": y, "words": over, "ink": colours.ink},
                {"x": column.middle_px, "y": y + sheet.frame.size_px + 3, "words": under, "ink": colours.ink},
            ]
        sheet.words("day_labels", labels, halo=False, align="center", baseline="top")

    def _margin(self, name: str, lines: Sequence[tuple[float, str, str]]) -> None:
        """Write (y, words, ink) in the right margin."""
        x = self._sheet.frame.width_px + 6
        rows = [{"x": x, "y": y, "words": words, "ink": ink} for y, words, ink in lines]
        self._sheet.words(name, rows, halo=False, align="left")
