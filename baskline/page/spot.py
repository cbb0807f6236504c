"""A spot: what holds now, its day, its week, its lamp, what happened, its last checks."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.lamp_words import view_words
from baskline.measured_words import measured, short_day
from baskline.page.charts import WEEK_DAYS, chart_code, chart_trouble
from baskline.page.check_view import CheckRow, check_rows
from baskline.page.desk import Desk
from baskline.page.event_view import EventRow, event_rows
from baskline.page.forms import asked_day, known
from baskline.page.pages import Page
from baskline.page.rendering import render
from baskline.page.sessions import Access
from baskline.page.spot_days import (
    WEEK_HEAD,
    DayPages,
    day_facts,
    day_of,
    day_pages,
    days_known,
    hour_rows,
    week_rows,
)
from baskline.page.spot_view import spot_view
from baskline.week_words import usual_words
from exposure.days import local_date
from ingest.day_beside import day_beside
from ingest.day_records import DayRecords
from ingest.lamp_views import LampView, lamp_view
from ingest.store.store import Store
from ingest.week import newest_day, spot_days

_EVENTS_SHOWN: Final = 8
_EVENT_DAYS: Final = 14
_CHECKS_SHOWN: Final = 5
_LEVELS_SHOWN: Final = 28


@dataclass(frozen=True, slots=True)
class SpotPage:
    """What of a spot's page comes out of the store."""

    days: DayPages
    any_readings: bool
    growing: bool
    summary: str
    facts: list[tuple[str, tuple[str, ...]]]
    hours: list[tuple[str, str, str]]
    week: tuple[tuple[str, ...], ...]
    week_usual: str
    lamp: list[tuple[str, str]]
    levels: list[tuple[str, str, str]]
    events: list[EventRow]
    checks: list[CheckRow]


async def spot_page(request: Request) -> Response:
    """Show a spot, with the day that was asked for."""
    desk: Desk = request.app.state.desk
    spot = known("spot", request.path_params["spot"], desk.config.spots)
    asked = asked_day(request.query_params.get("day", ""))
    keeper = request.state.access is Access.KEEPER
    shown = await desk.read(lambda store: _found(store, desk, spot, asked, with_checks=keeper))
    room = await desk.room()
    configured = desk.config.spots[spot]
    return render(
        request,
        "spot.html",
        spot=spot_view(room, room.spot(spot), desk.config),
        about=configured,
        enclosure=desk.config.enclosures[configured.enclosure],
        shown=shown,
        week_head=WEEK_HEAD,
        chart_trouble=chart_trouble(desk),
        code=chart_code(desk),
        told="",
    )


def _found(store: Store, desk: Desk, spot: str, asked: date | None, *, with_checks: bool) -> SpotPage:
    config, now_ms = desk.config, desk.now_ms
    zone = ZoneInfo(config.bridge.time_zone)
    known_days = days_known(store, config, spot, now_ms)
    pages = day_pages(known_days, asked)
    shown = day_of(store, config, spot, pages.day)
    records = DayRecords(store, config, for_one_look=True)
    facts = day_facts(shown, config, now_ms, day_beside(records, config, shown, now_ms))
    week = spot_days(records, config, spot, pages.day - timedelta(days=WEEK_DAYS - 1), pages.day)
    until = newest_day(store, config) or local_date(now_ms, zone.key)
    view = lamp_view(store, config, records, config.spots[spot].lamp, spot, until)
    happened = [
        event
        for event in store.events.between(now_ms - _EVENT_DAYS * 86_400_000, now_ms + 1)
        if event.is_of(spot, _board(desk, spot))
    ]
    return SpotPage(
        days=pages,
        any_readings=known_days.any,
        growing=now_ms < shown.bounds.end_ms,
        summary=", ".join(words for name, lines in facts for words in lines if name in ("no UVI", "peak")),
        facts=facts,
        hours=list(hour_rows(shown)),
        week=tuple(week_rows(week)),
        week_usual=usual_words(week.compared),
        lamp=list(view_words(view, config)),
        levels=_level_rows(view),
        events=event_rows(happened[::-1][:_EVENTS_SHOWN], config, now_ms),
        checks=check_rows(store.checks.of(spot)[::-1][:_CHECKS_SHOWN], config) if with_checks else [],
    )


def _board(desk: Desk, spot: str) -> str:
    return desk.config.boards[desk.config.spots[spot].board].identity


def _level_rows(view: LampView) -> list[tuple[str, str, str]]:
    """Return (day, level, hours on) of the last days."""
    return [
        (
            f"{short_day(day.date)} {day.date:%b}",
            measured(day.level_uvi, day.u_level_uvi, "UVI"),
            f"{day.hours_on:.1f} h",
        )
        for day in view.days[-_LEVELS_SHOWN:]
    ]


PAGE = Page(routes=(Route("/spots/{spot}", spot_page, methods=["GET"]),), guest_paths=("/spots/",))
