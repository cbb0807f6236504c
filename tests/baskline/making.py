"""What the tests of the command line look at: one demo for all of them, and small rooms made to measure.

Pytest gives every module that imports a session fixture its own copy, so the demo is a cached function of the
session's folder factory instead.
"""

import contextlib
import fcntl
import functools
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import islice
from pathlib import Path
from typing import TextIO
from unittest import mock

import numpy as np
import pytest

from baskline.app import main
from exposure.days import day_bounds
from firmware_host.capture import CaptureWriter, read_capture
from firmware_host.clock import Moment
from firmware_host.messages import Hello, Mark
from ingest.assigning import read_calibrations, record_assignments
from ingest.config import Config, load_config
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

PROGRAM = [sys.executable, "-c", "from baskline.app import main; main()"]
VIENNA = "Europe/Vienna"


@dataclass(frozen=True)
class Said:
    """What a command did."""

    code: int
    out: str
    err: str


def environment(**more: str) -> dict[str, str]:
    """The tests' own environment, with nothing in it that changes how the command line prints."""
    mine = {key: value for key, value in os.environ.items() if key not in ("BASKLINE_CONFIG", "COLUMNS")}
    return {**mine, "PYTHONPATH": str(Path(__file__).parents[2]), **more}


def baskline(
    *words: object, folder: Path, before: Iterable[str] = (), env: Mapping[str, str] | None = None
) -> Said:
    """Run `baskline` with these words in `folder`, as a process of its own; `before` goes in front of it."""
    done = subprocess.run(
        [*before, *PROGRAM, *map(str, words)],
        cwd=folder,
        env=environment(**(env or {})),
        capture_output=True,
        text=True,
        timeout=240,
        stdin=subprocess.DEVNULL,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def said_here(*words: object, folder: Path, env: Mapping[str, str] | None = None) -> Said:
    """Run `baskline` in this process: the same, but quicker."""
    out, err = io.StringIO(), io.StringIO()
    return Said(ended_here(*words, folder=folder, out=out, err=err, env=env), out.getvalue(), err.getvalue())


def ended_here(
    *words: object, folder: Path, out: TextIO, err: TextIO, env: Mapping[str, str] | None = None
) -> int:
    """Run `baskline` in this process, its words going to `out` and `err`; return the exit code."""
    with (
        mock.patch.object(sys, "argv", ["baskline", *map(str, words)]),
        mock.patch.dict(os.environ, environment(**(env or {})), clear=True),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main()
    assert isinstance(ended.value.code, int)
    return ended.value.code


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The folder `name`, made by one of the session's workers for all of them: to be copied, not changed."""
    own = factory.getbasetemp()
    session = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    made = session / f"{name}-made"
    with (session / f"{name}-made.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not made.exists():
            making = Path(tempfile.mkdtemp(dir=session))
            make(making)
            making.rename(made)
    return made


@functools.cache
def copied_once(made: Path, own: Path) -> Path:
    """A worker's own copy of a folder."""
    return shutil.copytree(made, own)


def demo_folder(factory: pytest.TempPathFactory) -> Path:
    """A worker's folder of a whole demo, with what it printed in `printed.txt`."""
    return copied_once(made_once(factory, "demo", _demo), factory.getbasetemp() / "demo-room")


def leave_first_hours(capture: Path) -> None:
    """Shorten a capture: a whole day of it is replayed by the demo's own tests."""
    with capture.open("rb") as stream:
        first = list(islice(read_capture(stream), 2_000))
    with capture.open("wb") as stream:
        writer = CaptureWriter(stream)
        for item in first:
            writer.write(item)


def _demo(folder: Path) -> None:
    said = baskline("demo", "--folder", ".", folder=folder)
    assert said.code == 0, said.err
    assert said.err == ""
    (folder / "printed.txt").write_text(said.out)


_CALIBRATION = """
format = 1
name = "ledge"
sensor_kind = "guva-s12sd"
lamp_kind = "t5"
made_on = {made_on}
valid_for_days = {valid_for_days}
uvi_range = [0.0, 9.0]

[channels.uva_counts]
dark = 0.0
noise = 0.0
valid_range = [0.0, 9000.0]
saturation = 10000.0

[model]
kind = "line"

[model.slope]
uva_counts = 0.001

[uncertainty]
standard_errors = {{ "dark.uva_counts" = 0.0, "slope.uva_counts" = 2e-5 }}
reference_relative = 0.04
"""

_CONFIG = """
[bridge]
site = "test"
name = "room"
time_zone = "{time_zone}"

[serial]
ports = ["{ports}"]

[board.rock]
identity = "rock-1"
label = "Behind the slate"

[enclosure.garden]
label = "Rock garden"

[lamp.tube]
kind = "t5"
installed = 2025-01-18
distance_cm = 30.0

[spot.ledge]
label = "Slate ledge"
enclosure = "garden"
lamp = "tube"
board = "rock"
band = {{ low_uvi = 1.0, high_uvi = 3.0, ceiling_uvi = {ceiling_uvi} }}
{calibration}
"""


def room(
    folder: Path,
    *,
    calibrated: bool = True,
    time_zone: str = VIENNA,
    ports: str = "/nowhere/*",
    ceiling_uvi: float = 4.0,
    made_on: str = "2025-01-20",
    valid_for_days: int = 3650,
    more: str = "",
) -> Config:
    """Write a room of one spot, `ledge`, whose sensor gives 1000 counts a UVI and no dark counts."""
    folder.mkdir(parents=True, exist_ok=True)
    if calibrated:
        (folder / "ledge.toml").write_text(
            _CALIBRATION.format(made_on=made_on, valid_for_days=valid_for_days)
        )
    text = _CONFIG.format(
        time_zone=time_zone,
        ports=ports,
        ceiling_uvi=ceiling_uvi,
        calibration='calibration = "ledge.toml"' if calibrated else "",
    )
    (folder / "baskline.toml").write_text(text + more)
    return load_config(folder / "baskline.toml")


def fill(
    config: Config,
    day: date,
    uvi_at: Callable[[np.ndarray], np.ndarray],
    *,
    every_s: float = 10.0,
    gaps_h: Iterable[tuple[float, float]] = (),
    faults_h: Iterable[tuple[float, float]] = (),
    until_h: float = 48.0,
    boot: str = "0a1b2c3d",
) -> None:
    """Store a local day of readings: `uvi_at` elapsed hours after midnight, none in the gaps.

    Of the times in `faults_h` the board says that its sensor did not answer.
    """
    bounds = day_bounds(day, config.bridge.time_zone)
    utc_ms = np.arange(bounds.start_ms, bounds.end_ms, round(every_s * 1000))
    hours = (utc_ms - bounds.start_ms) / 3_600_000
    keep = hours < until_h
    for start_h, end_h in gaps_h:
        keep &= (hours < start_h) | (hours >= end_h)
    utc_ms, hours = utc_ms[keep], hours[keep]
    marks = np.zeros(len(utc_ms), np.uint32)
    counts = 1000.0 * uvi_at(hours)
    for start_h, end_h in faults_h:
        silent = (hours >= start_h) & (hours < end_h)
        marks[silent], counts[silent] = Mark.FAULT, np.nan
    with Store.open(config.bridge.store) as store:
        store.begin_run(Moment(0, bounds.start_ms, synchronised=True))
        record_assignments(store, config, read_calibrations(config), bounds.start_ms)
        batch = StampedBatch(
            board="rock-1",
            boot=boot,
            channels=("uva_counts",),
            seq=np.arange(len(utc_ms), dtype=np.int64),
            utc_ms=utc_ms,
            values=counts[:, np.newaxis],
            marks=marks,
        )
        with store.transaction():
            store.readings.append([batch])
            store.boards.hello(_HELLO, int(utc_ms[-1]), "/dev/ttyACM0")


_HELLO = Hello(
    board="rock-1",
    boot="0a1b2c3d",
    firmware="test-1",
    sensor="guva-s12sd",
    channels=("uva_counts",),
    units=("counts",),
    cadence_ms=10_000,
    ring=360,
)


def half_sine(peak_uvi: float, from_h: float, length_h: float) -> Callable[[np.ndarray], np.ndarray]:
    """A day of light that rises and sets like half a sine wave."""

    def uvi_at(hours: np.ndarray) -> np.ndarray:
        phase = np.clip((hours - from_h) / length_h, 0.0, 1.0)
        return peak_uvi * np.sin(np.pi * phase)

    return uvi_at
