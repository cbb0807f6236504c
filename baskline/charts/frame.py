"""What stands around a chart's plot: its title, what it says in short, its caption, and their room."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Self

from baskline.charts.palette import Palette
from baskline.charts.text import FONT, packed
from baskline.charts.vega_lite import Part

if TYPE_CHECKING:
    from baskline.charts.layout import Layout

NARROW_BELOW_PX: Final = 500
"""Under this width it is a phone held upright."""

# Between the lines of a title that takes several.
_TITLE_LEADING_PX: Final = 3


@dataclass(frozen=True, slots=True)
class Frame:
    """Sizes, and what stands around the plot.  `width_px` and `height_px` are the plot's."""

    narrow: bool
    size_px: int
    title_size_px: int
    whole_title: str
    title: Sequence[str]
    summary: Sequence[str]
    caption: Sequence[str]
    edge_px: int
    left_px: int
    right_px: int
    top_px: int
    bottom_px: int
    width_px: int
    height_px: int

    @classmethod
    def of(
        cls,
        total_width_px: int,
        *,
        title: str,
        summary: Iterable[str],
        caption: Iterable[str],
        left_px: int,
        right_px: int,
        height_px: int,
        under_px: int = 24,
    ) -> Self:
        """Lay out a sheet of `total_width_px`; `under_px` is what the x axis takes under the plot."""
        narrow = total_width_px < NARROW_BELOW_PX
        size, title_size = text_size_px(narrow=narrow), 16 if narrow else 18
        edge = 10
        room = total_width_px - 2 * edge
        summary_lines = packed(summary, size, room)
        titles = title_lines(title, title_size, room)
        caption_lines = packed(caption, size - 1, room)
        return cls(
            narrow=narrow,
            size_px=size,
            title_size_px=title_size,
            whole_title=title,
            title=titles,
            summary=summary_lines,
            caption=caption_lines,
            edge_px=edge,
            left_px=left_px,
            right_px=right_px + edge,
            top_px=edge + title_px(titles, title_size) + len(summary_lines) * (size + 4) + 17,
            bottom_px=under_px + 4 + len(caption_lines) * (size + 3) + edge,
            width_px=total_width_px - left_px - right_px - edge,
            height_px=height_px,
        )


def text_size_px(*, narrow: bool) -> int:
    """Return the size of most words."""
    return 12 if narrow else 13


def title_lines(title: str, size_px: int, room_px: float) -> list[str]:
    """Return a title in as many lines as it takes."""
    return packed([title], size_px * 1.06, room_px)  # it is bold


def title_px(lines: Sequence[str], size_px: int) -> int:
    """Return how high a title is."""
    return len(lines) * (size_px + _TITLE_LEADING_PX)


def framed(
    layers: Sequence[Part],
    around: "Frame | Layout",
    colours: Palette,
    description: str,
    *,
    title_offset_px: int = 12,
    rows: Mapping[str, Sequence[Mapping[str, object]]],
    axis: Part | None = None,
) -> Part:
    """Return a chart of `layers`, which draw `rows`, with its sizes and title.

    `description` tells it to who cannot see it.
    """
    return {
        "description": description,
        "width": around.width_px,
        "height": around.height_px,
        "title": {
            "text": list(around.title),
            "subtitle": list(around.summary),
            "anchor": "start",
            "frame": "group",
            "dx": around.edge_px - around.left_px,
            "fontSize": around.title_size_px,
            "lineHeight": around.title_size_px + _TITLE_LEADING_PX,
            "subtitleFontSize": around.size_px,
            "subtitleColor": colours.quiet,
            "subtitlePadding": 5,
            "color": colours.ink,
            "offset": title_offset_px,
        },
        "background": colours.paper,
        "autosize": {"type": "none"},
        "padding": {
            "left": around.left_px,
            "right": around.right_px,
            "top": around.top_px,
            "bottom": around.bottom_px,
        },
        "config": {
            "font": FONT,
            "aria": False,  # the description says it all, some hundred marks would not
            "view": {"stroke": None},
            **({"axis": axis} if axis else {}),
        },
        "layer": list(layers),
        "datasets": rows,
    }
