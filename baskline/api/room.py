"""The room as it is now."""

from fastapi import APIRouter

from baskline.api.access import Spot, Tagged, TheDesk
from baskline.api.problems import NotThereError
from baskline.api.room_models import (
    Band,
    Board,
    Boards,
    Bridge,
    Enclosure,
    Enclosures,
    LastValue,
    SpotNow,
    Spots,
)
from baskline.page.desk import Desk
from calibrate.nearest import did_you_mean
from exposure.day_json import rounded
from ingest.config import Config
from ingest.mqtt.payloads import flag_names, iso_utc
from ingest.present import BoardNow, RoomNow
from ingest.present import SpotNow as Seen

router = APIRouter(tags=["room"], route_class=Tagged)


@router.get("/bridge", summary="This bridge")
async def bridge(desk: TheDesk) -> Bridge:
    """Say which bridge this is, whether it is at work, and how many events are open."""
    from importlib.metadata import version

    room, about = await desk.room(), desk.config.bridge
    return Bridge(
        site=about.site,
        bridge=about.name,
        version=version("baskline"),
        time_zone=about.time_zone,
        at=utc(room.at_ms),
        watched=room.watched,
        newest_reading_at=iso_utc(room.newest_ms),
        open_events=len(room.events),
        may_change=desk.may_change,
    )


@router.get("/enclosures", summary="All enclosures")
async def enclosures(desk: TheDesk) -> Enclosures:
    """List where animals live, as configured."""
    spots = desk.config.spots
    return Enclosures(
        enclosures=[
            Enclosure(
                enclosure=key,
                label=each.label,
                species=each.species,
                notes=each.notes,
                spots=[spot for spot, where in spots.items() if where.enclosure == key],
            )
            for key, each in desk.config.enclosures.items()
        ]
    )


@router.get("/spots", summary="All spots now")
async def spots(desk: TheDesk) -> Spots:
    """Say how each spot is now, with its configuration."""
    room = await desk.room()
    return Spots(at=utc(room.at_ms), spots=[spot_now(desk.config, seen) for seen in room.spots])


@router.get("/spots/{spot}", summary="One spot now")
async def spot_(spot: Spot, desk: TheDesk) -> SpotNow:
    """Say how one spot is now."""
    return spot_now(desk.config, (await desk.room()).spot(spot))


@router.get("/boards", summary="All boards now")
async def boards(desk: TheDesk) -> Boards:
    """Say what is known of each configured board, and whether it is silent."""
    room = await desk.room()
    return Boards(at=utc(room.at_ms), boards=[_board(each) for each in room.boards])


@router.get("/boards/{board}", summary="One board now")
async def board_(board: str, desk: TheDesk) -> Board:
    """Say what is known of one board, by its identity."""
    known = await _boards_by_identity(desk)
    if board not in known:
        raise NotThereError(f"there is no board {board!r}", where="board", remedy=did_you_mean(board, known))
    return _board(known[board])


async def _boards_by_identity(desk: Desk) -> dict[str, BoardNow]:
    room: RoomNow = await desk.room()
    return {each.board: each for each in room.boards}


def spot_now(config: Config, seen: Seen) -> SpotNow:
    """Return a spot with its configuration, its numbers rounded as in all documents."""
    state, configured = seen.state, config.spots[seen.state.spot]
    last = None
    if seen.last is not None:
        at_ms, uvi, u_uvi, flags = seen.last
        last = LastValue(at=utc(at_ms), uvi=rounded(uvi), u_uvi=rounded(u_uvi), flags=flag_names(flags))
    assert state.band_low_uvi is not None
    assert state.band_high_uvi is not None
    assert state.ceiling_uvi is not None
    return SpotNow(
        spot=state.spot,
        label=configured.label,
        kind=configured.kind,
        enclosure=seen.enclosure,
        lamp=configured.lamp,
        board=seen.board,
        zone=state.zone,
        band=Band(low_uvi=state.band_low_uvi, high_uvi=state.band_high_uvi, ceiling_uvi=state.ceiling_uvi),
        calibration=seen.calibration or None,
        at=iso_utc(state.at_ms),
        current=seen.current,
        uvi=rounded(state.uvi),
        u_uvi=rounded(state.u_uvi),
        flags=flag_names(state.flags),
        place=state.place,
        last=last,
        dose_uvi_h=rounded(state.dose_uvi_h),
        coverage=rounded(state.coverage),
        open_events=list(state.open_events),
    )


def utc(utc_ms: int) -> str:
    """Return a moment as all documents have it."""
    text = iso_utc(utc_ms)
    assert text is not None
    return text


def _board(seen: BoardNow) -> Board:
    hello = seen.hello
    return Board(
        board=seen.board,
        label=seen.label,
        spots=list(seen.spots),
        silent=seen.silent,
        last_reading_at=iso_utc(seen.last_reading_ms),
        port=seen.port,
        firmware=hello.firmware if hello else None,
        sensor=hello.sensor if hello else None,
        cadence_ms=hello.cadence_ms if hello else None,
        ring=hello.ring if hello else None,
    )
