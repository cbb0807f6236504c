"""A spot's days and samples."""

from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query

from baskline.api.access import Spot, Tagged, TheDesk
from baskline.api.day_models import Days, RecordedDay, Sample, SamplesPage, SpotDay
from baskline.api.problems import NotThereError
from baskline.api.room import utc
from baskline.api.values import FIRST_DAY, LAST_DAY, AskedDay, AskedTime
from baskline.day_document import day_fields
from calibrate.samples import Flag, Samples
from exposure.day_json import rounded, to_json_dict
from exposure.days import DayError, local_date
from ingest.day import spot_day
from ingest.day_beside import day_beside
from ingest.day_records import DayRecord, DayRecords
from ingest.export.table import DAY_MS, windows
from ingest.history import NO_SAMPLES, History, joined
from ingest.mqtt.payloads import flag_names
from ingest.store.store import Store

router = APIRouter(tags=["spots"], route_class=Tagged)

_FOR_EVER_MS = 1 << 53
_MOST_DAYS = 100
_MOST_SAMPLES = 10_000
# What one answer looks through at most, however little is found there.
_DAYS_LOOKED_THROUGH = 400


@router.get("/spots/{spot}/days/{date}", summary="One day of a spot")
async def day(
    spot: Spot,
    wanted: Annotated[AskedDay, Path(alias="date", description="The local day.")],
    desk: TheDesk,
) -> SpotDay:
    """Say what a spot got in one local day; of one that is not over, so far."""
    configured = desk.config.spots[spot]

    def found(store: Store) -> dict[str, Any]:
        config = desk.config
        shown = spot_day(
            store,
            spot,
            wanted,
            board=config.boards[configured.board].identity,
            time_zone=config.bridge.time_zone,
            band_now=configured.band(),
        )
        return day_fields(shown, day_beside(DayRecords(store, config), config, shown, desk.now_ms))

    try:
        return SpotDay.model_validate(await desk.read(found))
    except DayError as error:
        raise NotThereError(error.what, where="date", remedy=error.remedy) from error


@router.get("/spots/{spot}/days", summary="Days of a spot, page by page")
async def days(
    spot: Spot,
    desk: TheDesk,
    first: Annotated[AskedDay, Query(alias="from", description="The first local day.")] = FIRST_DAY,
    last: Annotated[AskedDay, Query(alias="to", description="The last local day, included.")] = LAST_DAY,
    limit: Annotated[int, Query(ge=1, le=_MOST_DAYS, description="How many days at most.")] = 31,
    cursor: Annotated[AskedDay | None, Query(description="`next` of the page before.")] = None,
) -> Days:
    """List the days of which anything was seen, in order; a page may have fewer than `limit`."""

    def found(store: Store) -> tuple[list[DayRecord], date | None]:
        time_zone, now_ms = desk.config.bridge.time_zone, desk.now_ms
        held = store.assignments.timeline(spot, 0, now_ms + 1)
        if not held:
            return [], None
        # A day may begin before the spot was watched, but not end.
        begin = max(first, cursor or first, local_date(held[0].from_ms, time_zone))
        end = min(last, local_date(max(now_ms, store.readings.last_utc_ms_any() or 0), time_zone))
        records: list[DayRecord] = []
        for step in range(0, min((end - begin).days + 1, _DAYS_LOOKED_THROUGH), limit):
            until = min(end, begin + timedelta(days=step + limit - 1))
            records += DayRecords(store, desk.config).of(spot, begin + timedelta(days=step), until)
            if len(records) > limit:
                return records[:limit], records[limit].date
            if len(records) == limit or step + limit >= _DAYS_LOOKED_THROUGH:
                return records, until + timedelta(days=1) if until < end else None
        return records, None

    records, following = await desk.read(found)
    return Days(
        spot=spot,
        days=[_recorded(record) for record in records],
        next=None if following is None else following.isoformat(),
    )


@router.get("/spots/{spot}/samples", summary="Samples of a spot, page by page")
async def samples(
    spot: Spot,
    desk: TheDesk,
    from_ms: Annotated[AskedTime, Query(alias="from", description="From that time on.")],
    to_ms: Annotated[
        AskedTime, Query(alias="to", description="Before that time; up to now if left out.")
    ] = _FOR_EVER_MS,
    limit: Annotated[int, Query(ge=1, le=_MOST_SAMPLES, description="How many samples at most.")] = 1000,
    cursor: Annotated[
        str | None, Query(pattern=r"^[0-9]{1,15}$", description="`next` of the page before.")
    ] = None,
) -> SamplesPage:
    """List samples in order of time; a page may have fewer than `limit`.

    What a board repeats later, after its cable was out, is in its place when you ask for that time again.
    """
    begin_ms = max(from_ms, int(cursor or 0))
    found, following_ms = await desk.read(lambda store: _samples(store, spot, begin_ms, to_ms, limit))
    return SamplesPage(
        spot=spot,
        samples=_listed(found),
        next=None if following_ms is None else str(following_ms),
    )


def _samples(store: Store, spot: str, begin_ms: int, end_ms: int, limit: int) -> tuple[Samples, int | None]:
    """Return up to `limit` samples, and where what follows them begins, None if nothing does.

    Whole days are derived, so that a sample is the same on whatever page it comes.
    """
    history = History(store)
    parts: list[Samples] = []
    n = 0
    looked_through = 0
    for from_ms, to_ms in _seen(store, spot, begin_ms, end_ms):
        for window_ms, until_ms in windows(from_ms, to_ms, DAY_MS):
            if looked_through == _DAYS_LOOKED_THROUGH:
                return joined(parts), window_ms
            looked_through += 1
            day_ms = window_ms // DAY_MS * DAY_MS
            whole = history.samples(spot, day_ms, day_ms + DAY_MS)
            part = whole.between(window_ms, until_ms)
            if n + len(part) > limit:
                following_ms = int(part.utc_ms[limit - n])
                return joined([*parts, part.between(0, following_ms)]), following_ms
            parts.append(part)
            n += len(part)
    return joined(parts) if parts else NO_SAMPLES, None


def _seen(store: Store, spot: str, begin_ms: int, end_ms: int) -> list[tuple[int, int]]:
    """Return when boards with readings watched the spot."""
    seen = []
    for span in store.assignments.timeline(spot, begin_ms, end_ms):
        extent = store.readings.extent(span.assignment.board)
        if extent is not None:
            seen.append((max(span.from_ms, extent[0]), min(span.to_ms, extent[1] + 1)))
    return seen


def _listed(found: Samples) -> list[Sample]:
    return [
        Sample.model_construct(
            time_utc=utc(utc_ms), uvi=_number(uvi), u_uvi=_number(u_uvi), flags=flag_names(Flag(flags))
        )
        for utc_ms, uvi, u_uvi, flags in zip(
            found.utc_ms.tolist(),
            found.uvi.tolist(),
            found.u_uvi.tolist(),
            found.flags.tolist(),
            strict=True,
        )
    ]


def _number(value: float) -> float | None:
    return None if value != value else rounded(value)


def _recorded(record: DayRecord) -> RecordedDay:
    lamp = record.lamp
    return RecordedDay.model_validate(
        {
            **to_json_dict(record.profile, spot=record.spot),
            "calibration": record.calibration or None,
            "lamp": {
                "hours_on": rounded(lamp.hours_on),
                "switch_ons": lamp.switch_ons,
                "level_uvi": rounded(lamp.level_uvi),
                "u_level_uvi": rounded(lamp.u_level_uvi),
                "ramp_minutes": rounded(lamp.ramp_minutes),
            },
        }
    )
