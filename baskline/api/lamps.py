"""Lamps: their ageing, and what was changed about them."""

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Depends

from baskline.api.access import Lamp as LampKey
from baskline.api.access import Tagged, TheDesk, may_change
from baskline.api.lamp_models import Change, Changes, Lamp, Lamps, NewChange
from baskline.api.problems import RefusedError
from baskline.lamp_words import change_fields, lamps_fields
from ingest.config import Config
from ingest.day_records import DayRecords
from ingest.lamp_acts import LampActError, note_lamp_change
from ingest.lamp_views import lamp_view
from ingest.store.lamp_changes import LampChange
from ingest.store.store import Store
from ingest.week import newest_day

router = APIRouter(tags=["lamps"], route_class=Tagged)


@router.get("/lamps", summary="All lamps")
async def lamps(desk: TheDesk) -> Lamps:
    """Say how old each lamp is, how it ages, and when its level may leave the band."""
    config = desk.config
    return Lamps.model_validate(await desk.read(lambda store: _lamps(store, config, list(config.lamps))))


@router.get("/lamps/{lamp}", summary="One lamp")
async def lamp_(lamp: LampKey, desk: TheDesk) -> Lamp:
    """Say how old a lamp is, how it ages, and when its level may leave the band."""
    found = await desk.read(lambda store: _lamps(store, desk.config, [lamp]))
    return Lamp.model_validate(found["lamps"][0])


@router.get("/lamps/{lamp}/changes", summary="Changes of a lamp")
async def changes(lamp: LampKey, desk: TheDesk) -> Changes:
    """List what was noted about a lamp."""
    known = await desk.read(lambda store: store.lamp_changes.of(lamp))
    return Changes(lamp=lamp, changes=[_change(each) for each in known])


@router.post(
    "/lamps/{lamp}/changes",
    summary="Note a change of a lamp",
    status_code=201,
    dependencies=[Depends(may_change)],
)
async def note(lamp: LampKey, wanted: NewChange, desk: TheDesk) -> Change:
    """Note that a lamp was changed: another bulb, distance, mesh, place, or something else.

    From then on a new baseline counts.
    """
    try:
        made = await desk.write(
            lambda store: note_lamp_change(
                store,
                desk.config,
                lamp,
                wanted.what,
                wanted.date,
                wanted.note,
                desk.now_ms,
                clock=wanted.time,
            )
        )
    except LampActError as error:
        raise RefusedError(error.what, where=error.where, remedy=error.remedy) from error
    return _change(made)


def _lamps(store: Store, config: Config, wanted: Sequence[str]) -> dict[str, Any]:
    until = newest_day(store, config)
    records = DayRecords(store, config)
    views = (
        []
        if until is None
        else [
            lamp_view(store, config, records, lamp, spot, until)
            for lamp in wanted
            for spot, configured in config.spots.items()
            if configured.lamp == lamp
        ]
    )
    return lamps_fields(views, {lamp: store.lamp_changes.of(lamp) for lamp in wanted}, config)


def _change(change: LampChange) -> Change:
    return Change.model_validate(change_fields(change))
