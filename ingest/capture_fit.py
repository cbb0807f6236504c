"""From a points file to the calibration of a spot, and where it goes."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from calibrate.calibration import Calibration
from calibrate.calibration_file import format_calibration
from calibrate.fits.fit import Fit, fit
from calibrate.fits.make import Circumstances, make_calibration
from calibrate.points_file import read_points
from ingest.calibration_files import free_calibration_file, write_new
from ingest.config import Config
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class Fitted:
    """What became of the points of a spot."""

    fit: Fit
    calibration: Calibration


def fit_points_of(path: Path, *, name: str, remarks: tuple[str, ...] = ()) -> Fitted:
    """Fit a spot's points file; raise `FitRefusedError` where no honest calibration can be made of it."""
    read = read_points(path)
    found = fit(read.points, saturation=dict(read.saturation))
    under = Circumstances(
        lamp_kind=read.lamp_kind,
        sensor_kind=read.sensor_kind,
        made_on=read.made_on or date.min,
        meter=read.meter,
        noise=read.noise,
        saturation=read.saturation,
    )
    notes = "\n".join((f"from {path.name}", *remarks))
    return Fitted(found, make_calibration(found, under, name=name, notes=notes))


def keep(calibration: Calibration, config: Config, spot: str, folder: Path) -> Path:
    """Write a spot's new calibration beside the older ones and into the store; return its file."""
    configured = config.spots[spot].calibration
    path = free_calibration_file(folder, configured, spot, calibration.made_on)
    write_new(path, calibration)
    with Store.open(config.bridge.store) as store:
        if store.calibrations.get(calibration.identity) is None:
            store.calibrations.put(calibration.identity, format_calibration(calibration))
    return path
