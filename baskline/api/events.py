"""Events: what happened, and what the keeper says to it."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query

from baskline.api.access import Tagged, TheDesk, may_change
from baskline.api.event_models import Event, Events
from baskline.api.problems import NotThereError, RefusedError
from baskline.api.values import AskedTime
from calibrate.errors import KeeperError
from exposure.events import Event as Happened
from exposure.events import EventKind, Severity
from ingest import acts
from ingest.mqtt.payloads import event_fields
from ingest.store.events_pages import FOR_EVER_MS, EventsWanted
from ingest.store.store import Store

router = APIRouter(tags=["events"], route_class=Tagged)

_MOST = 500
CURSOR = r"^[0-9]{1,16}\.[!-~]{0,150}$"  # ASCII: what else is white is not the same everywhere


@router.get("/events", summary="Events, page by page")
async def events(
    desk: TheDesk,
    from_ms: Annotated[
        AskedTime, Query(alias="from", description="Only what was open at or after that.")
    ] = 0,
    to_ms: Annotated[AskedTime, Query(alias="to", description="Only what opened before that.")] = FOR_EVER_MS,
    only_open: Annotated[
        bool | None, Query(alias="open", description="Only open ones, or only closed ones.")
    ] = None,
    severity: Annotated[Severity | None, Query(description="Only those of that severity.")] = None,
    kind: Annotated[EventKind | None, Query(description="Only those of that kind.")] = None,
    subject: Annotated[
        str | None, Query(description="Only those of the spot of that key, or the board of that identity.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=_MOST, description="How many at most.")] = 100,
    cursor: Annotated[str | None, Query(pattern=CURSOR, description="`next` of the page before.")] = None,
) -> Events:
    """List events, oldest first."""
    wanted = EventsWanted(
        subjects=None if subject is None else (("spot", subject), ("board", subject)),
        kind=kind,
        severity=severity,
        is_open=only_open,
        from_ms=from_ms or None,
        to_ms=to_ms,
    )
    first_ms, _, first = (cursor or "0.").partition(".")
    page = await desk.read(lambda store: store.events.page(wanted, limit, (int(first_ms), first)))
    return Events(
        events=[_event(each) for each in page.events],
        next=None if page.next is None else "{}.{}".format(*page.next),
    )


@router.get("/events/{identity}", summary="One event")
async def event(identity: str, desk: TheDesk) -> Event:
    """Say how an event stands."""
    return _event(await desk.read(lambda store: _known(store, identity)))


@router.post(
    "/events/{identity}/acknowledgement", summary="Acknowledge an event", dependencies=[Depends(may_change)]
)
async def acknowledge(identity: str, desk: TheDesk) -> Event:
    """Say that you have seen an event; it stays open until its cause is gone.

    Doing it again changes nothing: the first acknowledgement stands.
    """

    def act(store: Store) -> Happened:
        _known(store, identity)
        return acts.acknowledge(store, desk.config, identity, desk.now_ms)

    return _event(await desk.write(act))


@router.post("/events/{identity}/closing", summary="Close an event", dependencies=[Depends(may_change)])
async def close(identity: str, desk: TheDesk) -> Event:
    """Close an event by hand; it is over, though its cause may be there still.

    Another opens once the cause has gone and come again, or has become graver. Doing it again
    changes nothing: the first closing stands.
    """

    def act(store: Store) -> Happened:
        known = _known(store, identity)
        if not known.is_open:
            return known
        try:
            return acts.close(store, desk.config, identity, desk.now_ms)
        except KeeperError as error:
            raise RefusedError(error.what, where=identity, remedy=error.remedy) from error

    return _event(await desk.write(act))


def _known(store: Store, identity: str) -> Happened:
    found = store.events.get(identity)
    if found is None:
        raise NotThereError(
            f"there is no event {identity!r}", where="identity", remedy="See /events for what there is"
        )
    return found


def _event(happened: Happened) -> Event:
    return Event.model_validate(event_fields(happened))
