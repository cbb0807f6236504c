"""From the configuration to the store's record of what applied to each spot since when."""

import logging
from collections.abc import Mapping

from calibrate.calibration import Calibration
from calibrate.calibration_file import format_calibration, read_calibration
from exposure.bands import Band
from ingest.config import Config
from ingest.store.assignments import Assignment
from ingest.store.store import Store

log = logging.getLogger("baskline.assigning")


def read_calibrations(config: Config) -> dict[str, Calibration]:
    """Read the calibration of each spot that has one, by the spot's key.

    A file that is not there yet, or no longer, is told and keeps nothing from running: its spot is watched
    without a value, and all others as ever.  A file that is no calibration is refused.
    """
    calibrations = {}
    for key, spot in config.spots.items():
        if spot.calibration is None:
            continue
        if not spot.calibration.exists():
            log.warning(
                "this spot's calibration file is not there: it is watched without a value",
                extra={"spot": key, "file": str(spot.calibration), "do": f"baskline calibrate {key}"},
            )
            continue
        calibrations[key] = read_calibration(spot.calibration)
    return calibrations


def record_assignments(
    store: Store, config: Config, calibrations: Mapping[str, Calibration], from_ms: int
) -> None:
    """Let the configuration apply to its spots from `from_ms` on; what held already is not recorded again."""
    with store.transaction():
        for key, spot in config.spots.items():
            calibration = calibrations.get(key)
            # A note that was changed since makes no other calibration: the first wording stays.
            if calibration is not None and store.calibrations.get(calibration.identity) is None:
                store.calibrations.put(calibration.identity, format_calibration(calibration))
            store.assignments.record(
                Assignment(
                    spot=key,
                    board=config.boards[spot.board].identity,
                    sensor=spot.sensor or "",
                    calibration=calibration.identity if calibration is not None else "",
                    lamp_kind=config.lamps[spot.lamp].kind,
                    band=band_text(spot.band()),
                ),
                from_ms,
            )


def band_text(band: Band) -> str:
    """Return the band as the store keeps it; `band_of_text` reads it."""
    return f"{band.low_uvi!r} {band.high_uvi!r} {band.ceiling_uvi!r}"


def band_of_text(text: str) -> Band:
    """Return the band that `band_text` wrote."""
    low_uvi, high_uvi, ceiling_uvi = map(float, text.split())
    return Band(low_uvi, high_uvi, ceiling_uvi)
