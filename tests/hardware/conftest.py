"""Boards on their bench, and scripts on the board's interpreter."""

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.hardware.firmware_bench import FIRMWARE, STAND_IN, FirmwareBench, environment, micropython
from tests.hardware.interpreters import PORTS, script_command
from tests.hardware.listening import Host

ON_BOARD = Path(__file__).parent / "on_board"


@pytest.fixture
def make_bench(tmp_path: Path) -> Iterator[Callable[..., FirmwareBench]]:
    benches: list[FirmwareBench] = []

    def make(**options: object) -> FirmwareBench:
        folder = tmp_path / f"board{len(benches)}"
        bench = FirmwareBench(folder, **options)  # type: ignore[arg-type]
        benches.append(bench)
        bench.plug()
        return bench

    yield make
    for bench in benches:
        bench.unplug()


@pytest.fixture
def connect() -> Iterator[Callable[[FirmwareBench], Host]]:
    hosts: list[Host] = []

    def connect(bench: FirmwareBench) -> Host:
        hosts.append(Host(bench.port))
        return hosts[-1]

    yield connect
    for host in hosts:
        host.close()


def _run(command: list[str], folder: Path, said: str) -> str:
    done = subprocess.run(
        command,
        cwd=folder,
        env=on_board_environment(),
        input=said,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture
def on_board(tmp_path: Path) -> Callable[..., str]:
    """Run a script of on_board/ with the firmware's modules and a board's memory; return what it prints."""

    def run(script: str, *arguments: str, said: str = "", heap: str = "256K") -> str:
        command = [micropython(), "-X", f"heapsize={heap}", str(ON_BOARD / script), *arguments]
        return _run(command, tmp_path, said)

    return run


@pytest.fixture(params=PORTS)
def on_each_port(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[..., str]:
    """As `on_board`, on both ports of MicroPython, one after the other."""
    command = script_command(request.param)

    def run(script: str, *arguments: str, said: str = "") -> str:
        return _run([*command, str(ON_BOARD / script), *arguments], tmp_path, said)

    return run


def on_board_environment() -> dict[str, str]:
    return {**environment(), "MICROPYPATH": f"{STAND_IN}:{FIRMWARE}:{ON_BOARD}"}
