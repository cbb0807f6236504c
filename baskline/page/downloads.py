"""Downloads: a day as CSV or picture, a month's report, any table that can be exported."""

import io
from collections.abc import AsyncIterator, Generator
from datetime import date
from functools import partial
from typing import Final

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from baskline.day_csv import write_day_csv
from baskline.page.charts import chart_trouble, day_chart
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import asked_day, known
from baskline.page.months import months_with_readings
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from baskline.page.report_child import report_by_child
from baskline.page.spot_days import day_of, days_known
from baskline.page.workshop import workshop_of
from baskline.report.errors import NothingReadError, ReportError
from exposure.days import day_bounds, local_date
from ingest.export.csv_rows import csv_parts
from ingest.export.table import Source, Wanted
from ingest.export.tables import What, table
from ingest.store.store import Store
from ingest.week import newest_day, spots_of

_PNG_WIDTH_PX: Final = 900
_WHAT_WORDS: Final = {
    What.READINGS: "raw readings, as the boards sent them",
    What.SAMPLES: "samples: UVI with its uncertainty",
    What.MINUTES: "minutes: UVI in short",
    What.DAYS: "days: dose, peak, hours in the band",
    What.EVENTS: "events",
    What.CHECKS: "checks with a meter",
    What.LAMP_CHANGES: "changes of lamps",
}
_BY_SPOT: Final = frozenset({What.SAMPLES, What.MINUTES, What.DAYS, What.EVENTS, What.CHECKS})
_CSV: Final = "text/csv; charset=utf-8"


async def downloads(request: Request) -> Response:
    """Offer what can be taken away."""
    return await _page(request)


async def _page(request: Request, status: int = 200, *, trouble: str = "", enclosure: str = "") -> Response:
    desk: Desk = request.app.state.desk
    config = desk.config

    def found(store: Store) -> tuple[date, date, list[date]]:
        newest = newest_day(store, config) or local_date(desk.now_ms, config.bridge.time_zone)
        each = [days_known(store, config, spot, desk.now_ms) for spot in config.spots]
        first = min((days.first for days in each if days.any), default=newest)
        return first, newest, months_with_readings(store, config)

    first, newest, months = await desk.read(found)
    return render(
        request,
        "downloads.html",
        status,
        spots={key: spot.label for key, spot in config.spots.items()},
        enclosures={key: each.label for key, each in config.enclosures.items() if spots_of(config, key)},
        chosen_enclosure=enclosure,
        first=first,
        newest=newest,
        months=[(f"{month:%Y-%m}", f"{month:%B %Y}") for month in months],
        tables={what.value: words for what, words in _WHAT_WORDS.items()},
        chart_trouble=chart_trouble(desk),
        trouble=trouble,
    )


async def day_csv(request: Request) -> Response:
    """Give the samples of a spot's day."""
    desk, spot, day = _spot_and_day(request)

    def made(store: Store) -> tuple[str, date]:
        wanted = day or days_known(store, desk.config, spot, desk.now_ms).last
        rows = io.StringIO()
        write_day_csv(day_of(store, desk.config, spot, wanted), rows)
        return rows.getvalue(), wanted

    text, shown = await desk.read(made)
    return Response(text, media_type=_CSV, headers=_named(f"uv-{spot}-{shown}.csv"))


async def day_png(request: Request) -> Response:
    """Give the chart of a spot's day as a picture."""
    desk, spot, day = _spot_and_day(request)
    known_days = await desk.read(lambda store: days_known(store, desk.config, spot, desk.now_ms))
    shown = day or known_days.last
    trouble = chart_trouble(desk)
    if trouble:
        raise AskedError("no picture can be drawn here", remedy=trouble, status=503)
    spec = await desk.read(day_chart(desk, spot, shown.isoformat(), _PNG_WIDTH_PX, dark=False))
    from baskline.charts.files import rendered_by_child

    shop = workshop_of(request)
    shop.count_picture()
    picture = await shop.in_turn(rendered_by_child, spec, ".png", shop.children)
    return Response(picture, media_type="image/png", headers=_named(f"uv-{spot}-{shown}.png"))


async def report(request: Request) -> Response:
    """Give a month's report."""
    desk: Desk = request.app.state.desk
    asked = request.query_params
    try:
        month = asked_day(f"{asked.get('month', '')}-01")
    except AskedError:
        raise AskedError("that is no month", remedy="Choose one on the page Downloads") from None
    assert month is not None
    ending = {"html": ".html", "pdf": ".pdf"}.get(asked.get("form", "pdf"))
    if ending is None:
        raise AskedError("a report is HTML or PDF", remedy="Choose one of them")
    enclosure = asked.get("enclosure", "")
    chosen = (
        [known("enclosure", enclosure, desk.config.enclosures)] if enclosure else list(desk.config.enclosures)
    )
    shop = workshop_of(request)
    shop.count_picture()
    try:
        made = await shop.in_turn(
            report_by_child, shop.children, desk.config, desk.store_file, month, chosen, ending, desk.now_ms
        )
    except NothingReadError as error:
        where = f" in {desk.config.enclosures[enclosure].label}" if enclosure else ""
        trouble = f"No report: {error.what}{where}. Choose another month."
        return await _page(request, 404, trouble=trouble, enclosure=enclosure)
    except ReportError as error:
        raise AskedError(error.what, remedy=error.remedy, status=503) from error
    kind = "application/pdf" if ending == ".pdf" else "text/html; charset=utf-8"
    return Response(made, media_type=kind, headers=_named(f"uv-report-{month:%Y-%m}{ending}"))


async def export(request: Request) -> Response:
    """Give a table as CSV, as it comes out of the store."""
    desk: Desk = request.app.state.desk
    asked = request.query_params
    try:
        what = What(asked.get("what", ""))
    except ValueError:
        raise AskedError("there is no such table", remedy="Choose one of the list", status=404) from None
    spot = asked.get("spot", "")
    if spot:
        known("spot", spot, desk.config.spots)
    if what not in _BY_SPOT:
        spot = ""  # it is of all of them, and is called so
    first, last = asked_day(asked.get("from", "")), asked_day(asked.get("to", ""))
    if first is not None and last is not None and last < first:
        raise AskedError(f"{last} is before {first}", remedy="Choose the days the other way round")
    wanted = partial(_wanted, desk, first, last, spot)
    parts = workshop_of(request).stream(lambda: _csv(desk, what, wanted))
    begin = await anext(parts)  # so that what cannot be given is said in words
    name = "-".join(part for part in ("uv", what.value, spot, str(first or ""), str(last or "")) if part)
    return StreamingResponse(_with(begin, parts), media_type=_CSV, headers=_named(f"{name}.csv"))


def _csv(desk: Desk, what: What, wanted: "partial[Wanted]") -> Generator[bytes, None, None]:
    with Store.open(desk.store_file, read_only=True) as store:
        source = Source(store, desk.config, lambda *_: None)
        for text, _ in csv_parts(table(what, source, wanted(store))):
            yield text.encode()


def _wanted(desk: Desk, first: date | None, last: date | None, spot: str, store: Store) -> Wanted:
    time_zone = desk.config.bridge.time_zone
    newest_ms = max(desk.now_ms, store.readings.last_utc_ms_any() or 0)
    return Wanted(
        0 if first is None else day_bounds(first, time_zone).start_ms,
        newest_ms + 1 if last is None else day_bounds(last, time_zone).end_ms,
        (spot,) if spot else (),
    )


async def _with(begin: bytes, parts: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    yield begin
    async for part in parts:
        yield part


def _spot_and_day(request: Request) -> tuple[Desk, str, date | None]:
    desk: Desk = request.app.state.desk
    spot = known("spot", request.query_params.get("spot", ""), desk.config.spots)
    return desk, spot, asked_day(request.query_params.get("day", ""))


def _named(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


PAGE = Page(
    routes=(
        Route("/downloads", downloads, methods=["GET"]),
        Route("/downloads/day.csv", day_csv, methods=["GET"]),
        Route("/downloads/day.png", day_png, methods=["GET"]),
        Route("/downloads/report", report, methods=["GET"]),
        Route("/downloads/export.csv", export, methods=["GET"]),
    ),
    nav=NavEntry("Downloads", "/downloads"),
)
