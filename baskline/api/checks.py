"""Spot checks and calibrations."""

import logging
from typing import Any

from fastapi import APIRouter, Depends
from starlette.concurrency import run_in_threadpool

from baskline.api.access import Spot, Tagged, TheDesk, may_change
from baskline.api.check_models import Calibration, CalibrationEntry, Calibrations, Check, Checks, NewCheck
from baskline.api.problems import NotThereError, RefusedError
from baskline.calibration_json import calibration_fields
from baskline.check_words import SCHEMA, check_fields, record_fields
from baskline.page.desk import Desk
from calibrate.budget import budget
from calibrate.calibration_file import parse_calibration
from calibrate.curve import middle_levels
from calibrate.errors import KeeperError
from ingest.check_acts import MeterReading, calibration_of, check_now
from ingest.checking import CheckError, calibrated_ms, check_state, series_of
from ingest.checks_now import Settle
from ingest.config import Config
from ingest.store.checks import CheckRecord
from ingest.store.errors import StoreError
from ingest.store.lock import is_held
from ingest.store.store import Store
from ingest.twins import twins

log = logging.getLogger("baskline.api")

router = APIRouter(tags=["calibration"], route_class=Tagged)

# How long an answer may wait for readings beyond the mean itself.
_PATIENCE_S = 10.0


@router.get("/spots/{spot}/checks", summary="Spot checks of a spot")
async def checks(spot: Spot, desk: TheDesk) -> Checks:
    """List the checks of the present calibration, with their control chart and when the next is due."""
    return Checks.model_validate(
        await desk.read(lambda store: _checks(store, desk.config, spot, desk.now_ms))
    )


@router.post(
    "/spots/{spot}/checks",
    summary="Compare a spot with a meter",
    status_code=201,
    dependencies=[Depends(may_change)],
)
async def check(spot: Spot, wanted: NewCheck, desk: TheDesk) -> Check:
    """Compare the spot's running value with what a meter shows beside its sensor now, and keep that.

    The lamp has to be on and warm. Wear glasses that stop UV, and do not touch the hot lamp.
    """
    try:
        kept = await run_in_threadpool(_kept, desk, spot, wanted)
    except StoreError:  # no refusal, but a fault of the computer
        raise
    except KeeperError as error:
        raise RefusedError(error.what, where=spot, remedy=error.remedy) from error
    return Check.model_validate(record_fields(kept))


@router.get("/calibrations", summary="All calibrations")
async def calibrations(desk: TheDesk) -> Calibrations:
    """List all calibrations that ever gave a number."""

    def found(store: Store) -> list[CalibrationEntry]:
        entries = []
        for identity in store.calibrations.identities():
            known = parse_calibration(store.calibrations.get(identity) or "", where=identity)
            entries.append(
                CalibrationEntry(
                    identity=identity,
                    name=known.name or None,
                    sensor_kind=known.sensor_kind,
                    lamp_kind=known.lamp_kind,
                    made_on=known.made_on.isoformat(),
                    valid_for_days=known.valid_for_days,
                    spots=_spots_of(store, desk.config, identity, desk.now_ms),
                )
            )
        return entries

    return Calibrations(calibrations=await desk.read(found))


@router.get("/calibrations/{identity}", summary="One calibration with its budget")
async def calibration(identity: str, desk: TheDesk) -> Calibration:
    """Say how a calibration converts, and where its uncertainty comes from."""

    def found(store: Store) -> dict[str, Any]:
        text = store.calibrations.get(identity)
        if text is None:
            raise NotThereError(
                f"there is no calibration {identity!r}", where="identity", remedy="See /calibrations"
            )
        known = parse_calibration(text, where=identity)
        levels = middle_levels(known)
        return {
            **calibration_fields(known, budget(known, levels), levels),
            "spots": _spots_of(store, desk.config, identity, desk.now_ms),
        }

    return Calibration.model_validate(await desk.read(found))


def _checks(store: Store, config: Config, spot: str, now_ms: int) -> dict[str, Any]:
    try:
        known = calibration_of(config, spot)
    except CheckError:
        nothing = dict.fromkeys(("chart", "moved", "light_ratio", "sensor_ratio", "due"))
        return {"schema": SCHEMA, "spot": spot, "checks": [], "twins": [], "overdue": False, **nothing}
    records = store.checks.of(spot)
    series = series_of(records, known.identity)
    made_ms = calibrated_ms(known, config.bridge.time_zone)
    state = check_state(records, known, made_ms, now_ms, config.rule_settings(spot).check_every_days)
    beside = list(twins(store, config, spot, series.checks[0].at_ms, now_ms)) if series.checks else []
    return {**check_fields(None, series, state, beside), "spot": spot}


def _kept(desk: Desk, spot: str, wanted: NewCheck) -> CheckRecord:
    if not is_held(desk.store_file):
        raise RefusedError("baskline is not running, so nothing is measured", remedy="Start `baskline run`")
    accuracy = None if wanted.accuracy_percent is None else wanted.accuracy_percent / 100
    reading = MeterReading(wanted.reference_uvi, accuracy, wanted.resolution_uvi)
    return check_now(desk.config, spot, reading, desk.clock, Settle(wanted.seconds, _PATIENCE_S), log.info)


def _spots_of(store: Store, config: Config, identity: str, now_ms: int) -> list[str]:
    return [
        spot
        for spot in config.spots
        for span in store.assignments.timeline(spot, now_ms, now_ms + 1)
        if span.assignment.calibration == identity
    ]
