"""Lamps: hours, ageing, when to replace them; and the form to note what was changed about one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.lamp_words import (
    CHANGE_WORDS,
    change_words,
    hours_words,
    lamp_words,
    replace_by_of,
    since_words,
    view_words,
    what_follows_words,
)
from baskline.measured_words import plain_day
from baskline.page.charts import chart_code, chart_trouble
from baskline.page.desk import Desk
from baskline.page.errors import AskedError
from baskline.page.forms import acting, asked_day, asked_entry, done, fields, known
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from calibrate.errors import KeeperError
from exposure.days import clock_of, local_date
from ingest.config import Config
from ingest.day_records import DayRecords
from ingest.lamp_acts import MOST_NOTE_CHARACTERS, keys_to_change, note_lamp_change, withdraw_lamp_change
from ingest.lamp_views import LampView, lamp_view
from ingest.store.lamp_changes import LampChange, LampChangeKind
from ingest.store.store import Store
from ingest.week import newest_day


@dataclass(frozen=True, slots=True)
class LampPart:
    """A lamp as it is shown; `spots` are (key, label, (what, words)...) of what each spot sees of it."""

    key: str
    name: str
    words: str
    facts: tuple[tuple[str, str], ...]
    spots: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]
    changes: tuple[tuple[int, str, bool], ...]


async def lamps(request: Request) -> Response:
    """Show all lamps."""
    desk: Desk = request.app.state.desk
    noted = request.query_params.get("noted", "")
    withdrawn = request.query_params.get("withdrawn", "")

    def found(store: Store) -> tuple[list[LampPart], tuple[str, ...]]:
        told: tuple[str, ...] = ()
        change = next((each for each in _all(store, desk.config) if str(each.change_id) == noted), None)
        if change is not None:
            told = _noted_words(change, desk.config)
        elif any(str(each.change_id) == withdrawn and each.withdrawn for each in _all(store, desk.config)):
            told = (f"Withdrawn: change {withdrawn} counts no longer.",)
        return lamp_parts(store, desk), told

    parts, told = await desk.read(found)
    return _page(request, parts, told=told)


async def note(request: Request) -> Response:
    """Note a change of a lamp."""
    desk = acting(request)
    lamp = known("lamp", request.path_params["lamp"], desk.config.lamps)
    form = await fields(request)
    try:
        what = LampChangeKind(form.get("what", ""))
    except ValueError:
        what = None
    try:
        if what is None:
            raise AskedError("it was not said what was changed", remedy="Choose one of the list")
        chosen = what
        day = asked_day(form.get("day", "")) or local_date(desk.now_ms, desk.config.bridge.time_zone)
        clock = _asked_clock(form.get("clock", ""))
        text = form.get("note", "")
        change = await desk.write(
            lambda store: note_lamp_change(
                store, desk.config, lamp, chosen, day, text, desk.now_ms, clock=clock
            )
        )
    except KeeperError as error:
        parts = await desk.read(lambda store: lamp_parts(store, desk))
        trouble = f"Nothing was noted: {error.what}. {error.remedy}."
        return _page(request, parts, 422, trouble=trouble, lamp=lamp, form=form)
    return done(f"/lamps?noted={change.change_id}#lamp-{lamp}")


def _asked_clock(text: str) -> time | None:
    """Return a time as a form field has it; None for an empty one."""
    try:
        return clock_of(text) if text else None
    except ValueError as error:
        raise AskedError(f"{text!r} is no time of a day", remedy="Write it as 08:30") from error


async def withdraw(request: Request) -> Response:
    """Let a change count no longer."""
    desk = acting(request)
    lamp = known("lamp", request.path_params["lamp"], desk.config.lamps)
    number = asked_entry(await fields(request), "change")
    try:
        await desk.write(lambda store: withdraw_lamp_change(store, desk.config, lamp, number))
    except KeeperError as error:
        raise AskedError(error.what, remedy="Go back and load the page anew", status=409) from error
    return done(f"/lamps?withdrawn={number}#lamp-{lamp}")


def lamp_parts(store: Store, desk: Desk) -> list[LampPart]:
    """Return all lamps as they are shown."""
    config = desk.config
    until = newest_day(store, config)
    records = DayRecords(store, config)
    parts = []
    for lamp in config.lamps:
        lit = [spot for spot, configured in config.spots.items() if configured.lamp == lamp]
        views = (
            [] if until is None else [lamp_view(store, config, records, lamp, spot, until) for spot in lit]
        )
        parts.append(_part(lamp, views, store.lamp_changes.of(lamp), config, lit=bool(lit)))
    return parts


def _part(
    lamp: str, views: Sequence[LampView], changes: Sequence[LampChange], config: Config, *, lit: bool
) -> LampPart:
    facts = [("hangs since", since_words(lamp, changes, config))]
    if not lit:
        facts.append(("verdict", "none: no spot is lit by it"))
    elif not views:
        facts.append(("verdict", "none: nothing has been read yet"))
    else:
        facts.append(("burned", hours_words(views)))
    replace_by = replace_by_of(views)
    if replace_by is not None:
        facts.append(("replace by", f"{plain_day(replace_by)}, the earliest day on which it may be too weak"))
    return LampPart(
        key=lamp,
        name=config.lamp_name(lamp),
        words=lamp_words(lamp, config),
        facts=tuple(facts),
        spots=tuple(
            (view.spot, config.spots[view.spot].label, tuple(view_words(view, config))) for view in views
        ),
        changes=tuple((each.change_id, change_words(each), each.withdrawn) for each in changes),
    )


def _all(store: Store, config: Config) -> list[LampChange]:
    return [change for lamp in config.lamps for change in store.lamp_changes.of(lamp)]


def _noted_words(change: LampChange, config: Config) -> tuple[str, ...]:
    told = [
        f"Noted of {config.lamp_name(change.lamp)}: {change_words(change)}.",
        f"{what_follows_words(change)}, on the page Checks.",
    ]
    keys = keys_to_change(config, change)
    if keys:
        told.append(
            f"In baskline.toml, under [lamp.{change.lamp}], see that these are still right, and start the"
            f" bridge again if you change them: {', '.join(keys)}."
        )
    return tuple(told)


def _page(
    request: Request,
    parts: Sequence[LampPart],
    status: int = 200,
    *,
    told: tuple[str, ...] = (),
    trouble: str = "",
    lamp: str = "",
    form: dict[str, str] | None = None,
) -> Response:
    desk: Desk = request.app.state.desk
    config = desk.config
    today = local_date(desk.now_ms, config.bridge.time_zone)
    values: dict[str, Any] = {
        "lamps": parts,
        "kinds": {kind.value: words for kind, words in CHANGE_WORDS.items()},
        "today": today.isoformat(),
        "earliest": {key: each.installed.isoformat() for key, each in config.lamps.items()},
        "most_note": MOST_NOTE_CHARACTERS,
        "told": told,
        "trouble": trouble,
        "lamp_in_trouble": lamp,
        "typed": {"what": "", "day": today.isoformat(), "clock": "", "note": "", **(form or {})},
        "code": chart_code(desk),
        "chart_trouble": chart_trouble(desk),
    }
    return render(request, "lamps.html", status, **values)


PAGE = Page(
    routes=(
        Route("/lamps", lamps, methods=["GET"]),
        Route("/lamps/{lamp}/changes", note, methods=["POST"]),
        Route("/lamps/{lamp}/withdrawn", withdraw, methods=["POST"]),
    ),
    nav=NavEntry("Lamps", "/lamps", for_guests=True),
    guest_paths=("/lamps",),
)
