"""A room for guided calibrations: one simulated board on a pseudo-terminal, whose light a test sets."""

import random
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from calibrate.calibration import Calibration, Channel, Uncertainty
from calibrate.models import LineModel
from firmware_host.clock import Moment, SystemClock
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard

CONFIG = """\
[bridge]
site = "test"
name = "room"
time_zone = "Europe/Vienna"
store = "room.db"
commit_interval_s = 0.5

[serial]
ports = ["{ports}"]

[board.stone]
identity = "stone-1"
label = "Behind the slate"

[enclosure.rock_garden]
label = "Rock garden"

[lamp.rock_lamp]
kind = "t5"
installed = 2025-02-08
distance_cm = 38.0

[spot.slate]
label = "Slate ledge"
enclosure = "rock_garden"
lamp = "rock_lamp"
board = "stone"
{calibration}
band = {{ low_uvi = 2.0, high_uvi = 4.0, ceiling_uvi = 5.0 }}
"""


class FastClock:
    """Real time, but faster; so that what waits for half a minute is tested in half a second."""

    def __init__(self, speed: float) -> None:
        self._clock = SystemClock()
        self._speed = speed
        self._start = self._clock.moment()

    def moment(self) -> Moment:
        now = self._clock.moment()
        passed = round((now.mono_ms - self._start.mono_ms) * self._speed)
        return Moment(self._start.mono_ms + passed, self._start.wall_ms + passed, now.synchronised)

    def wait_s(self, seconds: float) -> None:
        self._clock.wait_s(seconds / self._speed)


class Room:
    """`uvi` is the true light at the sensor; a test moves the sensor by setting it."""

    def __init__(self, folder: Path, *, calibration: str = "", cadence_ms: int = 200) -> None:
        self.uvi = 3.0
        self.dark_counts = 21.0
        self.counts_per_uvi = 96.0
        self.marks = 0
        self.noise_counts = 1.2
        self.config_file = folder / "baskline.toml"
        self.ports = folder / "ports"
        self.ports.mkdir()
        self._random = random.Random(5)
        self._cadence_ms = cadence_ms
        self._starts = 0
        line = f'calibration = "{calibration}"' if calibration else ""
        self.config_file.write_text(CONFIG.format(ports=self.ports / "board-*", calibration=line), "utf-8")

    def levels(self, _at_ms: float) -> Mapping[str, float]:
        counts = self.dark_counts + self.counts_per_uvi * self.uvi + self._random.gauss(0, self.noise_counts)
        return {"uva_counts": counts, "temperature_c": 25.0 + self.uvi}

    @contextmanager
    def live(self, clock: FastClock | SystemClock) -> Iterator[PtyBench]:
        """Let the board measure and speak."""
        model = BoardModel(
            "stone-1",
            {"uva_counts": "counts", "temperature_c": "C"},
            cadence_ms=self._cadence_ms,
            sensor="guva-s12sd",
        )
        with PtyBench(self.ports) as bench:
            self._starts += 1  # each start draws another boot number
            bench.add(SimulatedBoard(model, self.levels, seed=self._starts), clock.moment().mono_ms)
            with bench.running(clock):
                yield bench


def calibration_of(room: Room) -> Calibration:
    """Return what a careful keeper would have found today."""
    return Calibration(
        lamp_kind="t5",
        sensor_kind="guva-s12sd",
        model=LineModel(("uva_counts",), (room.dark_counts,), (1 / room.counts_per_uvi,)),
        channels=(Channel("uva_counts", noise=room.noise_counts),),
        uvi_range=(0.0, 6.0),
        uncertainty=Uncertainty(
            ((0.04, 0.0), (0.0, 1e-8)), reference_relative=0.05, reference_resolution_uvi=0.1
        ),
        made_on=datetime.fromtimestamp(SystemClock().moment().wall_ms / 1000, UTC).date(),
    )
