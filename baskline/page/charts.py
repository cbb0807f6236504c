"""Charts as the browser draws them: their definitions as JSON, and the code that draws."""

import gzip
import json
import logging
from collections.abc import Callable
from datetime import timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from baskline.charts.bundle import bundle_beside, bundle_path
from baskline.charts.errors import ChartError
from baskline.children import ChildEndedError
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import asked_day, asked_number, known
from baskline.page.pages import Page
from baskline.page.spot_days import day_of, days_known
from baskline.page.workshop import workshop_of
from calibrate.errors import KeeperError
from exposure.days import local_date
from ingest.check_acts import calibration_of
from ingest.checking import series_of
from ingest.day_records import DayRecords
from ingest.lamp_views import lamp_view
from ingest.store.store import Store
from ingest.week import newest_day, spot_days, spots_of

log = logging.getLogger("baskline.page")

Spec = dict[str, Any]
WEEK_DAYS: Final = 7
_NARROWEST_PX, _WIDEST_PX, _USUAL_PX = 280, 1400, 760
# One answer in a compressed form serves all browsers of the house.
_CODE_HEADERS: Final = {"Cache-Control": "private, max-age=31536000, immutable", "Vary": "Accept-Encoding"}


def chart_trouble(desk: Desk) -> str:
    """Return why no chart can be drawn here, '' if it can."""
    try:
        bundle_path(desk.store_file)
    except ChartError as error:
        return f"{error.what}. {error.remedy}"
    return ""


def chart_code(desk: Desk) -> str:
    """Return the address of the code that draws; it differs when the code does, so it can be kept."""
    try:
        name = bundle_path(desk.store_file).stem
    except ChartError:
        return "/charts/code.js"
    return f"/charts/code.js?v={name.rpartition('charts-')[2]}"


def day_chart(desk: Desk, spot: str, asked: str, width_px: int, *, dark: bool) -> Callable[[Store], Spec]:
    """Return what makes the chart of a spot's day."""
    day = asked_day(asked)

    def made(store: Store) -> Spec:
        from baskline.charts.day import day_spec
        from baskline.charts.drawing import drawing_of

        wanted = day or days_known(store, desk.config, spot, desk.now_ms).last
        shown = day_of(store, desk.config, spot, wanted)
        return day_spec(drawing_of(shown, desk.config, desk.now_ms), total_width_px=width_px, dark=dark)

    return made


async def _day(request: Request) -> Response:
    desk, spot = _desk_and_spot(request)
    return await _answer(
        request, day_chart(desk, spot, _asked(request), _width(request), dark=_dark(request))
    )


async def _week(request: Request) -> Response:
    desk, spot = _desk_and_spot(request)
    day, width_px, dark = asked_day(_asked(request)), _width(request), _dark(request)

    def made(store: Store) -> Spec:
        from baskline.charts.days import DaysDrawing, days_spec

        config = desk.config
        last = day or days_known(store, config, spot, desk.now_ms).last
        first = last - timedelta(days=WEEK_DAYS - 1)
        days = spot_days(DayRecords(store, config), config, spot, first, last)
        drawing = DaysDrawing(
            config.spots[spot].label,
            first,
            last,
            [each.profile for each in days.days if each.profile is not None],
            days.compared["dose_uvi_h"].month if days.compared else None,
            local_date(desk.now_ms, config.bridge.time_zone),
        )
        return days_spec(drawing, total_width_px=width_px, dark=dark)

    return await _answer(request, made)


async def _lamp(request: Request) -> Response:
    desk, spot = _desk_and_spot(request)
    width_px, dark = _width(request), _dark(request)

    def made(store: Store) -> Spec:
        from baskline.charts.lamp import lamp_drawing, lamp_spec

        config = desk.config
        until = newest_day(store, config) or local_date(desk.now_ms, config.bridge.time_zone)
        view = lamp_view(store, config, DayRecords(store, config), config.spots[spot].lamp, spot, until)
        return lamp_spec(lamp_drawing(view, config, until), total_width_px=width_px, dark=dark)

    return await _answer(request, made)


async def _checks(request: Request) -> Response:
    desk, spot = _desk_and_spot(request)
    width_px, dark = _width(request), _dark(request)

    def made(store: Store) -> Spec:
        from baskline.charts.checks import checks_drawing, checks_spec

        config = desk.config
        series = series_of(store.checks.of(spot), calibration_of(config, spot).identity)
        drawing = checks_drawing(config.spots[spot].label, series, config.bridge.time_zone)
        if drawing is None:
            raise AskedError("there is no check of this calibration yet", status=404)
        return checks_spec(drawing, total_width_px=width_px, dark=dark)

    return await _answer(request, made)


async def _gradient(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    enclosure = known("enclosure", request.path_params["enclosure"], desk.config.enclosures)
    spots = spots_of(desk.config, enclosure)
    day, width_px, dark = asked_day(_asked(request)), _width(request), _dark(request)

    def made(store: Store) -> Spec:
        from baskline.charts.gradient import gradient_drawing, gradient_spec

        config = desk.config
        wanted = day or days_known(store, config, spots[0], desk.now_ms).last
        days = [day_of(store, config, spot, wanted) for spot in spots]
        drawing = gradient_drawing(config.enclosures[enclosure].label, days, config, desk.now_ms)
        return gradient_spec(drawing, total_width_px=width_px, dark=dark)

    if not spots:
        raise AskedError("this enclosure has no spot yet", status=404)
    return await _answer(request, made)


async def _code(request: Request) -> Response:
    """Give the code that draws; it is made once, by a child, when it is first asked for."""
    desk: Desk = request.app.state.desk
    shop = workshop_of(request)
    try:
        path = await shop.in_turn(bundle_beside, desk.store_file, shop.children)
    except KeeperError as error:
        return _trouble(error)
    headers = dict(_CODE_HEADERS)
    packed = "gzip" in request.headers.get("accept-encoding", "")
    if packed:
        headers["Content-Encoding"] = "gzip"
    code = await shop.in_turn(_packed if packed else Path.read_bytes, path)
    return Response(code, media_type="text/javascript", headers=headers)


@lru_cache(1)
def _packed(path: Path) -> bytes:
    return gzip.compress(path.read_bytes(), mtime=0)


async def _answer(request: Request, made: Callable[[Store], Spec]) -> Response:
    desk: Desk = request.app.state.desk
    try:
        spec = await desk.read(made)
    except AskedError:
        raise
    except KeeperError as error:
        return _trouble(error)
    return Response(json.dumps(spec, separators=(",", ":")), media_type="application/json")


def _trouble(error: KeeperError) -> Response:
    if not isinstance(error, ChildEndedError):
        log.warning(error.what, extra={"where": error.where, "do": error.remedy})
    return PlainTextResponse(f"{error.what}. {error.remedy}", 503)


def _desk_and_spot(request: Request) -> tuple[Desk, str]:
    desk: Desk = request.app.state.desk
    return desk, known("spot", request.path_params["spot"], desk.config.spots)


def _asked(request: Request) -> str:
    return request.query_params.get("day", "")


def _width(request: Request) -> int:
    asked = asked_number(request.query_params.get("width", ""), "width", _NARROWEST_PX, _WIDEST_PX)
    return _USUAL_PX if asked is None else round(asked)


def _dark(request: Request) -> bool:
    return request.query_params.get("dark") == "1"


PAGE = Page(
    routes=(
        Route("/charts/code.js", _code, methods=["GET"]),
        Route("/charts/day/{spot}", _day, methods=["GET"]),
        Route("/charts/week/{spot}", _week, methods=["GET"]),
        Route("/charts/lamp/{spot}", _lamp, methods=["GET"]),
        Route("/charts/checks/{spot}", _checks, methods=["GET"]),
        Route("/charts/gradient/{enclosure}", _gradient, methods=["GET"]),
    ),
    guest_paths=("/charts/code.js", "/charts/day/", "/charts/week/", "/charts/lamp/", "/charts/gradient/"),
)
