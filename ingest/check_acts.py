"""A spot check as a keeper makes it: a meter's reading beside the spot's running value."""

from collections.abc import Callable
from dataclasses import dataclass

from calibrate.calibration import Calibration
from calibrate.calibration_file import read_calibration
from calibrate.points import ReferenceMeter, from_limits
from firmware_host.clock import Clock
from ingest.checking import DAY_MS, CheckError, calibrated_ms, compare, running_value
from ingest.checks_now import Settle, levels_now
from ingest.config import Config
from ingest.store.checks import CheckRecord
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class MeterReading:
    """What a meter shows, now.

    `accuracy`: the meter's stated accuracy as a part of the reading, if it is another one than the spot was
    calibrated with; `resolution_uvi`: the step of its last digit, the calibration's if None.
    """

    reference_uvi: float
    accuracy: float | None = None
    resolution_uvi: float | None = None


def calibration_of(config: Config, spot: str) -> Calibration:
    """Return the calibration that could be checked; CheckError if there is none."""
    path = config.spots[spot].calibration
    if path is None or not path.exists():
        raise CheckError(
            "has no calibration that could be checked",
            where=f"spot {spot}",
            remedy=f"Make one with `baskline calibrate {spot}`",
        )
    return read_calibration(path)


def check_now(
    config: Config,
    spot: str,
    reading: MeterReading,
    clock: Clock,
    settle: Settle,
    waiting: Callable[[str], None],
) -> CheckRecord:
    """Compare a spot with a meter, keep that, and return it as it stands in the store.

    `waiting` is told what takes a while, and what is doubtful.
    """
    made = _compared(config, spot, reading, clock, settle, waiting)
    with Store.open(config.bridge.store) as store:
        number = store.checks.add(made)
        return next(check for check in store.checks.of(spot) if check.check_id == number)


def _compared(
    config: Config,
    spot: str,
    reading: MeterReading,
    clock: Clock,
    settle: Settle,
    waiting: Callable[[str], None],
) -> CheckRecord:
    calibration = calibration_of(config, spot)
    levels = levels_now(config, spot, clock, settle, waiting)
    made_ms = calibrated_ms(calibration, config.bridge.time_zone)
    running = running_value(
        levels,
        calibration,
        lamp_kind=config.lamps[config.spots[spot].lamp].kind,
        age_days=max(0.0, (clock.moment().wall_ms - made_ms) / DAY_MS),
    )
    if not running.steady:
        waiting("the light was not steady meanwhile: is the lamp warm, and your hand out of the light?")
    known_step = calibration.uncertainty.reference_resolution_uvi
    step = known_step if reading.resolution_uvi is None else reading.resolution_uvi
    meter = None if reading.accuracy is None else ReferenceMeter(from_limits(reading.accuracy), 0.0, step)
    return compare(spot, running, calibration, reading.reference_uvi, meter, step)
