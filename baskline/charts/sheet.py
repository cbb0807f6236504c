"""A sheet of fixed size to draw on, in pixels from the top left corner of its plot.

Charts with several panels place everything by themselves, so that words stand where they have room.  What is
drawn later lies over what was drawn before.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from baskline.charts.frame import Frame, framed
from baskline.charts.hatching import hatched
from baskline.charts.palette import Palette, palette
from baskline.charts.scale import Scale
from baskline.charts.vega_lite import Part, end, ink, layer, quantity, word

Row = Mapping[str, object]
Box = tuple[float, float, float, float]


class Sheet:
    """Gathers layers; `spec` makes a Vega-Lite specification of them."""

    def __init__(self, frame: Frame, *, dark: bool) -> None:
        self.frame = frame
        self.colours: Palette = palette(dark=dark)
        self._layers: list[Part] = []
        self._rows: dict[str, Sequence[Row]] = {}

    def boxes(self, name: str, rows: Sequence[Row], **style: Any) -> None:
        """Fill boxes x, y to x2, y2 in the colour `ink`, each row's own."""
        self._add(name, rows, "rect", style, **self._extent(), fill=ink())

    def outlines(self, name: str, rows: Sequence[Row], **style: Any) -> None:
        """Outline boxes x, y to x2, y2 in the colour `ink`."""
        self._add(name, rows, "rect", {"fill": None, **style}, **self._extent(), stroke=ink())

    def rules(self, name: str, rows: Sequence[Row], **style: Any) -> None:
        """Draw straight lines x, y to x2, y2 in the colour `ink`."""
        self._add(name, rows, "rule", style, **self._extent(), color=ink())

    def line(self, name: str, rows: Sequence[Row], colour: str, **style: Any) -> None:
        """Draw a line through x, y; a new one begins with each new `part`."""
        along = {**self._place(), "detail": word("part"), "order": quantity("x")}
        self._add(name, _parted(rows), "line", {"color": colour, **style}, **along)

    def ribbon(self, name: str, rows: Sequence[Row], colour: str, **style: Any) -> None:
        """Fill between y and y2 along x; a new one begins with each new `part`."""
        along = {**self._place(), "y2": end("y2"), "detail": word("part")}
        self._add(name, _parted(rows), "area", {"color": colour, **style}, **along)

    def points(self, name: str, rows: Sequence[Row], shape: str, *, filled: bool, size: float) -> None:
        """Draw marks of one shape at x, y in the colour `ink`; those not filled have the paper inside."""
        inside = {} if filled else {"fill": self.colours.paper}
        style = {"shape": shape, "size": size, "filled": filled, "opacity": 1, "strokeWidth": 1.8, **inside}
        self._add(name, rows, "point", style, **self._place(), color=ink())

    def words(self, name: str, rows: Sequence[Row], *, halo: bool = True, **style: Any) -> None:
        """Write `words` at x, y in the colour `ink`, over an edge of paper so that no line crosses them."""
        style = {"fontSize": self.frame.size_px, "baseline": "middle", **style}
        at = {**self._place(), "text": word("words")}
        if halo:
            paper = self.colours.paper
            edge = {"color": paper, "stroke": paper, "strokeWidth": 4, "strokeJoin": "round"}
            self._add(f"{name}_halo", rows, "text", {**edge, **style}, **at)
        self._add(name, rows, "text", style, **at, color=ink())

    def hatching(self, name: str, boxes: Iterable[Box]) -> None:
        """Hatch and outline boxes (left, top, right, bottom): there is nothing to show."""
        boxes = list(boxes)
        ink = self.colours.hatch
        strokes = [
            {"x": x, "y": y, "x2": x2, "y2": y2, "ink": ink}
            for left, top, right, bottom in boxes
            for x, y, x2, y2 in hatched(left, right, top, bottom)
        ]
        self.rules(f"{name}_strokes", strokes, strokeWidth=0.8)
        self.outlines(
            name,
            [
                {"x": left, "y": top, "x2": right, "y2": bottom, "ink": ink}
                for left, top, right, bottom in boxes
            ],
            strokeWidth=0.8,
        )

    def y_axis(self, name: str, scale: Scale, title: str, *, about: int = 5) -> None:
        """Draw a vertical axis at the plot's left side, its title over it."""
        quiet, ink = self.colours.quiet, self.colours.ink
        size = self.frame.size_px
        ticks = [(scale.px(value), words) for value, words in scale.ticks(about)]
        self.rules(
            name,
            [
                {"x": 0, "y": scale.bottom_px, "x2": 0, "y2": scale.top_px, "ink": quiet},
                *({"x": -5, "y": y, "x2": 0, "y2": y, "ink": quiet} for y, _ in ticks),
            ],
        )
        self.words(
            f"{name}_labels",
            [{"x": -8, "y": y, "words": words, "ink": ink} for y, words in ticks],
            halo=False,
            align="right",
        )
        where = {"x": self.frame.edge_px - self.frame.left_px, "y": scale.top_px - 6, "ink": quiet}
        self.words(
            f"{name}_title",
            [{**where, "words": title}],
            halo=False,
            align="left",
            baseline="bottom",
            fontSize=size - 1,
        )

    def x_axis(self, name: str, ticks: Iterable[tuple[float, str]], y_px: float) -> None:
        """Draw a horizontal axis with labels under it, those left out that would touch the one before."""
        quiet, ink = self.colours.quiet, self.colours.ink
        ticks = list(ticks)
        self.rules(
            name,
            [
                {"x": 0, "y": y_px, "x2": self.frame.width_px, "y2": y_px, "ink": quiet},
                *({"x": x, "y": y_px, "x2": x, "y2": y_px + 5, "ink": quiet} for x, _ in ticks),
            ],
        )
        self.words(
            f"{name}_labels",
            [{"x": x, "y": y_px + 9, "words": words, "ink": ink} for x, words in ticks if words],
            halo=False,
            align="center",
            baseline="top",
        )

    def spec(self, description: str) -> dict[str, Any]:
        """Return the chart; `description` tells it to whoever cannot see it."""
        self._write_caption()
        return framed(self._layers, self.frame, self.colours, description, rows=self._rows)

    def _write_caption(self) -> None:
        frame = self.frame
        line = frame.size_px + 3
        first_px = frame.height_px + frame.bottom_px - frame.edge_px - len(frame.caption) * line
        self.words(
            "caption",
            [
                {
                    "x": frame.edge_px - frame.left_px,
                    "y": first_px + number * line,
                    "words": words,
                    "ink": self.colours.quiet,
                }
                for number, words in enumerate(frame.caption)
            ],
            halo=False,
            align="left",
            baseline="top",
            fontSize=frame.size_px - 1,
        )

    def _add(self, name: str, rows: Sequence[Row], mark: str, style: Part, **channels: Part) -> None:
        if rows:
            self._rows[name] = [_rounded(row) for row in rows]
            self._layers.append(layer(name, mark, style, **channels))

    def _place(self) -> dict[str, Part]:
        width, height = self.frame.width_px, self.frame.height_px
        return {
            "x": quantity("x", axis=None, scale={"domain": [0, width], "nice": False}),
            "y": quantity("y", axis=None, scale={"domain": [0, height], "range": [0, height], "nice": False}),
        }

    def _extent(self) -> dict[str, Part]:
        return {**self._place(), "x2": end("x2"), "y2": end("y2")}


def _parted(rows: Sequence[Row]) -> Sequence[Row]:
    return [{"part": 0, **row} for row in rows]


def _rounded(row: Row) -> Row:
    """Return a row with places to a hundredth of a pixel, and other numbers to four digits."""
    return {
        name: round(value, 2 if name in ("x", "y", "x2", "y2") else 4) if isinstance(value, float) else value
        for name, value in row.items()
    }
