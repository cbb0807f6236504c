"""The charts of a report by their names: as SVG for a page of its own, as pictures for paper."""

import base64
import re
from collections.abc import Callable, Iterator
from typing import Any, Final

import vl_convert
from markupsafe import Markup, escape

from baskline.charts.checks import checks_drawing, checks_spec
from baskline.charts.days import days_spec
from baskline.charts.days_drawing import DaysDrawing
from baskline.charts.lamp import lamp_spec
from baskline.charts.lamp_drawing import lamp_drawing
from ingest.config import Config
from ingest.month import Month, SpotMonth

Draw = Callable[[str, dict[str, Any]], Markup]

# As wide as the letters are those of a footnote where the chart stands on A4.
_WIDTH_PX: Final = 900
_TWO_THIRDS_PX: Final = 620
_HALF_PX: Final = 460
# So much sharper than a screen: some 250 dots an inch.
_DOTS: Final = 2.0


def specs_of(month: Month, config: Config) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield (name, Vega-Lite specification) of each chart that a report of the month names."""
    for each in month.enclosures:
        for spot in each.spots:
            if spot.seen_days:
                yield f"days-{spot.spot}", _days(spot, month, config)
            checks = checks_drawing(config.spots[spot.spot].label, spot.series, config.bridge.time_zone)
            if checks is not None:
                yield f"checks-{spot.spot}", checks_spec(checks, total_width_px=_HALF_PX)
    for lamp in month.lamps:
        for view in lamp.views:
            drawing = lamp_drawing(view, config, month.last)
            yield f"lamp-{view.spot}", lamp_spec(drawing, total_width_px=_TWO_THIRDS_PX)


def _days(spot: SpotMonth, month: Month, config: Config) -> dict[str, Any]:
    profiles = [day.profile for day in spot.days.days if day.profile is not None]
    usual = spot.days.compared["dose_uvi_h"].month if spot.days.compared else None
    label = config.spots[spot.spot].label
    return days_spec(DaysDrawing(label, month.first, month.last, profiles, usual), total_width_px=_WIDTH_PX)


def as_svg(name: str, spec: dict[str, Any]) -> Markup:
    """Return a chart as SVG that may stand in a page beside others: its inner names are its own."""
    svg = str(vl_convert.vegalite_to_svg(spec))
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', svg)
    svg = re.sub(r'(url\(#|href="#)', rf"\1{name}-", svg)
    return _figure(Markup(svg), spec)  # noqa: S704 - from the renderer, which escapes the keeper's words


def as_picture(_name: str, spec: dict[str, Any]) -> Markup:
    """Return a chart as a picture: its letters are those of the renderer, whatever fonts there are."""
    png = base64.b64encode(vl_convert.vegalite_to_png(spec, scale=_DOTS)).decode()
    image = Markup('<img src="data:image/png;base64,{}" alt="{}">').format(png, spec.get("description", ""))
    return Markup("<figure>{}</figure>").format(image)


def _figure(inner: Markup, spec: dict[str, Any]) -> Markup:
    label = escape(spec.get("description", ""))
    return Markup('<figure role="img" aria-label="{}">{}</figure>').format(label, inner)
