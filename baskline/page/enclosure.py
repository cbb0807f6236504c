"""An enclosure: its spots beside each other on a day, and whether there is a retreat."""

from datetime import date
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.measured_words import measured
from baskline.page.charts import chart_code, chart_trouble
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import asked_day, known
from baskline.page.pages import Page
from baskline.page.rendering import render
from baskline.page.spot_days import DaysKnown, day_of, day_pages, days_known
from baskline.page.spot_view import spot_view
from baskline.week_words import retreat_words
from exposure.gradient import gradient
from exposure.profile import DayProfile
from ingest.store.store import Store
from ingest.week import spots_of, week

HEAD = ("Spot", "Mean UVI while lit", "Dose, UVI·h", "In band", "Over ceiling")


async def enclosure(request: Request) -> Response:
    """Show an enclosure, with the day that was asked for."""
    desk: Desk = request.app.state.desk
    key = known("enclosure", request.path_params["enclosure"], desk.config.enclosures)
    spots = spots_of(desk.config, key)
    if not spots:
        raise AskedError("this enclosure has no spot yet", remedy="Add one to baskline.toml", status=404)
    asked = asked_day(request.query_params.get("day", ""))
    values = await desk.read(lambda store: _found(store, desk, key, spots, asked))
    room = await desk.room()
    return render(
        request,
        "enclosure.html",
        key=key,
        about=desk.config.enclosures[key],
        spots=[spot_view(room, room.spot(spot), desk.config) for spot in spots],
        head=HEAD,
        code=chart_code(desk),
        chart_trouble=chart_trouble(desk),
        **values,
    )


def _found(store: Store, desk: Desk, key: str, spots: list[str], asked: date | None) -> dict[str, Any]:
    config, now_ms = desk.config, desk.now_ms
    each = [days_known(store, config, spot, now_ms) for spot in spots]
    seen = [days for days in each if days.any] or each
    days = day_pages(
        DaysKnown(
            min(one.first for one in seen), max(one.last for one in seen), any(one.any for one in seen)
        ),
        asked,
    )
    shown = {spot: day_of(store, config, spot, days.day) for spot in spots}
    labels = {spot: config.spots[spot].label for spot in spots}
    words = gradient({spot: each.profile for spot, each in shown.items()}, labels).sentence
    before = week(store, config, days.day, [key]).enclosures
    return {
        "days": days,
        "growing": any(now_ms < each.bounds.end_ms for each in shown.values()),
        "sentence": f"{words[:1].upper()}{words[1:]}.",
        "rows": [_row(labels[spot], each.profile) for spot, each in shown.items()],
        "week": retreat_words(before[0], config) if before else "not known",
    }


def _row(label: str, profile: DayProfile) -> tuple[str, ...]:
    def hours(value: float | None) -> str:
        return "not known" if value is None else f"{value:.1f} h"

    return (
        label,
        measured(profile.mean_uvi_lit, profile.u_mean_uvi_lit),
        measured(profile.dose_uvi_h, profile.u_dose_uvi_h, at_least=profile.at_least),
        hours(profile.hours_in_band),
        hours(profile.hours_above_ceiling),
    )


PAGE = Page(
    routes=(Route("/enclosures/{enclosure}", enclosure, methods=["GET"]),), guest_paths=("/enclosures/",)
)
