"""Where calibration files go: beside the configuration, under names that no other file has yet."""

from datetime import date
from pathlib import Path

from calibrate.calibration import Calibration
from calibrate.calibration_file import write_calibration
from calibrate.toml_table import CalibrationFileError
from ingest.config import Config

FOLDER = "calibrations"
POINTS_ENDING = ".points.csv"


def write_new(path: Path, calibration: Calibration) -> None:
    """Write a calibration into a file that is not there yet."""
    if path.exists():
        raise CalibrationFileError(
            "is there already, and a calibration is never written over another",
            where=str(path),
            remedy="Give the new one another name",
        )
    if not path.parent.is_dir():
        raise CalibrationFileError(
            f"there is no folder {path.parent}", where=str(path), remedy="Make it, or name another"
        )
    write_calibration(path, calibration)


def folder_of(config: Config, config_file: Path, spot: str) -> Path:
    """Return the folder for a spot's calibrations: that of the configured one, else `calibrations`."""
    configured = config.spots[spot].calibration
    return config_file.parent / FOLDER if configured is None else configured.parent


def free_points_file(folder: Path, spot: str, day: date) -> Path:
    """Return a name for the points of a calibration that is begun on `day`."""
    return _free(folder, f"{spot}-{day.isoformat()}", POINTS_ENDING)


def free_calibration_file(folder: Path, configured: Path | None, spot: str, day: date) -> Path:
    """Return a name for a new calibration: the configured one if it is not there yet, else a dated one."""
    if configured is not None and not configured.exists():
        return configured
    return _free(folder, f"{spot}-{day.isoformat()}", ".toml")


def newest_points_file(folder: Path, spot: str) -> Path | None:
    """Return the points file of the spot that was written to last, or None."""
    found = [path for path in folder.glob(f"{spot}-*{POINTS_ENDING}") if _is_of(path, spot)]
    return max(found, key=lambda path: path.stat().st_mtime_ns, default=None)


def _is_of(path: Path, spot: str) -> bool:
    """Tell `ledge-2026-03-02.points.csv` of the spot `ledge` from a file of another spot."""
    rest = path.name.removeprefix(f"{spot}-").removesuffix(POINTS_ENDING)
    return rest[:4].isdigit()


def _free(folder: Path, stem: str, ending: str) -> Path:
    path, number = folder / f"{stem}{ending}", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}{ending}"
    return path
