import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from firmware_host.pi_bus import PiBusBoard, PiBusSettings
from tests.firmware_host.pi_bus.simulated_smbus import Chips
from tests.hardware.listening import Host


@pytest.fixture
def chips(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Chips:
    chips = Chips(SystemClock(), tmp_path / "i2c-1")
    monkeypatch.setattr("smbus2.SMBus", chips.smbus)
    return chips


@pytest.fixture
def reports() -> list[KeeperError]:
    return []


@pytest.fixture
def start(chips: Chips, reports: list[KeeperError]) -> Iterator[Callable[..., Host]]:
    """Start the board on the bus and listen to it."""
    with contextlib.ExitStack() as stack:

        def start(cadence_ms: int = 200, sensor: str = "auto", identity: str = "pi-test") -> Host:
            settings = PiBusSettings(sensor=sensor, cadence_ms=cadence_ms, identity=identity)
            board = PiBusBoard(settings, SystemClock(), reports.append, look_again_ms=50)
            stack.enter_context(board)
            host = Host(board.port.path)
            stack.callback(host.close)
            return host

        yield start
    assert chips.n_open == 0
