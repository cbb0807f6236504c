"""Where everything on the chart of a day stands, in pixels."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

from baskline.charts.drawing import DayDrawing
from baskline.charts.frame import NARROW_BELOW_PX, text_size_px, title_lines, title_px
from baskline.charts.lanes import Lanes, in_lanes
from baskline.charts.text import packed, width_px
from exposure.days import HOUR_MS

_MOST_LANES: Final = 5
# A ceiling far over everything else would press the curve flat: then only its number is shown, with an arrow.
_CEILING_SHOWN_TO: Final = 1.6
_HEADROOM: Final = 1.08


@dataclass(frozen=True, slots=True)
class MarginWord:
    """Words in the right margin, at a height."""

    y_px: float
    words: str
    look: str


@dataclass(frozen=True, slots=True)
class Layout:
    """Sizes and places.  `width_px` and `height_px` are of the part with the curve and the lanes above it."""

    narrow: bool
    size_px: int
    title_size_px: int
    title: Sequence[str]
    summary: Sequence[str]
    caption: Sequence[str]
    left_px: int
    right_px: int
    top_px: int
    bottom_px: int
    edge_px: int
    width_px: int
    height_px: int
    lanes: Lanes
    strip_px: float
    lane_px: int
    title_offset_px: int
    top_uvi: float
    ceiling_shown: bool
    margin: Sequence[MarginWord]
    starts_ms: int
    ends_ms: int

    @classmethod
    def of(cls, day: DayDrawing, total_width_px: int) -> Self:
        """Lay out `day` on a chart of `total_width_px`."""
        narrow = total_width_px < NARROW_BELOW_PX
        size = text_size_px(narrow=narrow)
        title_size = 16 if narrow else 18
        edge = 10
        left = 34 if narrow else 42
        band_words = f"{day.band.low_uvi:g} to {day.band.high_uvi:g}"
        ceiling_words = f"ceiling {day.band.ceiling_uvi:g}"
        top_uvi, ceiling_shown = _top_uvi(day)
        if not ceiling_shown:
            ceiling_words += " ↑"
        right = round(max(width_px(band_words, size), width_px(ceiling_words, size))) + 8 + edge
        width = total_width_px - left - right
        room = total_width_px - 2 * edge
        lanes = in_lanes(
            day.spans, day.starts_ms, day.ends_ms, room_px=width, size_px=size - 1, most=_MOST_LANES
        )
        lane = size + 11
        strip = max(lanes.n_lanes * lane, lane) + 10  # one lane at least: the axis is named at its side
        plot = 210 if narrow else 270
        titles = title_lines(day.title, title_size, room)
        summary = packed(day.summary, size, room)
        caption = packed(_caption(day, lanes), size - 1, room)
        offset = 12
        y_of = _Heights(strip, plot, top_uvi)
        margin = _margin(day, y_of, size, band_words, ceiling_words, ceiling_shown=ceiling_shown)
        return cls(
            narrow=narrow,
            size_px=size,
            title_size_px=title_size,
            title=titles,
            summary=summary,
            caption=caption,
            left_px=left,
            right_px=right,
            top_px=edge + title_px(titles, title_size) + 3 + len(summary) * (size + 3) + offset,
            bottom_px=24 + len(caption) * (size + 2) + edge,
            edge_px=edge,
            width_px=width,
            height_px=round(strip + plot),
            lanes=lanes,
            strip_px=strip,
            lane_px=lane,
            title_offset_px=offset,
            top_uvi=top_uvi,
            ceiling_shown=ceiling_shown,
            margin=margin,
            starts_ms=day.starts_ms,
            ends_ms=day.ends_ms,
        )

    def x_px(self, at_ms: float) -> float:
        """Return where a moment stands."""
        return self.width_px * (at_ms - self.starts_ms) / (self.ends_ms - self.starts_ms)

    def hour_at(self, x_px: float) -> float:
        """Return the elapsed hour that stands there, also outside of the day."""
        return round(x_px / self.width_px * (self.ends_ms - self.starts_ms) / HOUR_MS, 4)

    def uvi_at(self, y_px: float) -> float:
        """Return the UVI that stands there, also above the curve's part."""
        return round(self.top_uvi * (self.height_px - y_px) / (self.height_px - self.strip_px), 4)


@dataclass(frozen=True, slots=True)
class _Heights:
    strip_px: float
    plot_px: float
    top_uvi: float

    def __call__(self, uvi: float) -> float:
        return self.strip_px + self.plot_px * (1 - uvi / self.top_uvi)


def _top_uvi(day: DayDrawing) -> tuple[float, bool]:
    """Return the highest UVI that is drawn, and whether the ceiling is under it."""
    seen = float(day.trace.upper_uvi.max()) if len(day.trace) else 0.0
    highest = max(seen, day.band.high_uvi, 0.5)
    shown = day.band.ceiling_uvi <= _CEILING_SHOWN_TO * highest
    return _HEADROOM * (max(highest, day.band.ceiling_uvi) if shown else highest), shown


def _caption(day: DayDrawing, lanes: Lanes) -> list[str]:
    phrases = [f"clock time in {day.time_zone.key}"]
    if len(day.trace):
        phrases.append("line: mean of each minute")
        phrases.append("shading: ± (k = 2, about 95 %)")
    if len(day.trace) and bool(day.trace.doubtful.any()):
        phrases.append("dashed: doubtful")
    if day.holes:
        reasons = dict.fromkeys(hole.words for hole in day.holes)
        phrases.append(f"hatched: no UVI ({', '.join(reasons)})")
    if lanes.n_left_out:
        phrases.append(f"{lanes.n_left_out} more events not drawn")
    return phrases


def _margin(
    day: DayDrawing, y_of: _Heights, size: int, band_words: str, ceiling_words: str, *, ceiling_shown: bool
) -> list[MarginWord]:
    """Place the words of the limits beside them, moved apart where they would overlap."""
    line = size + 2
    ceiling_y = y_of(day.band.ceiling_uvi) if ceiling_shown else y_of(y_of.top_uvi) + size / 2
    band_y = y_of((day.band.low_uvi + day.band.high_uvi) / 2) - line / 2
    lowest = y_of(0) - line - size / 2
    band_y = min(max(band_y, ceiling_y + line), lowest)
    ceiling_y = min(ceiling_y, band_y - line)
    return [
        MarginWord(ceiling_y, ceiling_words, "limit"),
        MarginWord(band_y, "band", "band"),
        MarginWord(band_y + line, band_words, "band"),
    ]
