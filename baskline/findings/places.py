"""What the configuration says of animals and calibrations, and whether it holds."""

from collections.abc import Iterator
from datetime import UTC, datetime

from baskline.findings.finding import Finding
from calibrate.calibration import Calibration
from calibrate.calibration_file import read_calibration
from calibrate.errors import KeeperError
from exposure.bands import Band
from exposure.species import SpeciesError, find_species, species_named, with_own_rows, zones_text
from firmware_host.clock import SystemClock
from ingest.config import Config


def animals(config: Config) -> Iterator[Finding]:
    """Say which species the table does not have, and which spots have their band from one."""
    table = with_own_rows(config.own_species())
    for key, enclosure in config.enclosures.items():
        if enclosure.species is None:
            continue
        try:
            species_named(enclosure.species, table)
        except SpeciesError as error:
            near = find_species(enclosure.species, table)
            remedy = f"{near[0].name}, {zones_text(near[0])}, is the nearest row" if near else error.remedy
            yield Finding("species", key, True, error.what, remedy)
    for key, spot in config.spots.items():
        if spot.by_species is not None:
            band = spot.band()
            yield Finding(
                "band",
                key,
                True,
                f"{band.low_uvi:g} to {band.high_uvi:g}, ceiling {band.ceiling_uvi:g}, by"
                f" {spot.by_species.name}, because it names neither zone nor band",
                "Zones guide; a band that you type is better",
            )


def calibrations(config: Config) -> Iterator[Finding]:
    """Say of each spot whether its calibration can be used, and for how long."""
    for key, spot in config.spots.items():
        if spot.calibration is None:
            yield Finding(
                "calibration",
                key,
                False,
                "none, so this spot has no UVI",
                f"`baskline calibrate {key}` compares it with your UVI meter, and names the file that it"
                f" writes in [spot.{key}] calibration",
            )
            continue
        try:
            calibration = read_calibration(spot.calibration)
        except KeeperError as error:
            yield Finding("calibration", key, False, f"{error.where}: {error.what}", error.remedy)
            continue
        yield _calibration(key, calibration, config.lamps[spot.lamp].kind, spot.band())


def _calibration(key: str, calibration: Calibration, lamp_kind: str, band: Band) -> Finding:
    today = datetime.fromtimestamp(SystemClock().moment().wall_ms / 1000, UTC).date()
    age_days = (today - calibration.made_on).days
    if calibration.lamp_kind != lamp_kind:
        return Finding(
            "calibration",
            key,
            False,
            f"made under {calibration.lamp_kind}, but the lamp is {lamp_kind}: its samples are doubtful",
            "Calibrate this spot under its own lamp",
        )
    if age_days > calibration.valid_for_days:
        return Finding(
            "calibration",
            key,
            False,
            f"{age_days} days old, and valid for {calibration.valid_for_days}",
            "Compare it with a UVI meter and calibrate anew",
        )
    made = f"{calibration.identity}, made on {calibration.made_on}"
    top_uvi = calibration.uvi_range[1]
    if top_uvi < band.high_uvi:
        return Finding(
            "calibration",
            key,
            True,
            f"{made}; compared up to UVI {top_uvi:.2g}, and the band goes to {band.high_uvi:g}",
            "Beyond that its UVI is in more doubt: compare nearer to the lamp next time",
        )
    return Finding("calibration", key, True, made)
