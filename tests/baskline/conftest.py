"""A room with boards at real speed, and the daemon on it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firmware_host.simulated.bench import PtyBench
from tests.baskline.running import CLOCK, Daemon, Room


@pytest.fixture
def ports(tmp_path: Path) -> Iterator[PtyBench]:
    """Where simulated boards are plugged in, driven at real speed."""
    folder = tmp_path / "ports"
    folder.mkdir()
    with PtyBench(folder) as bench, bench.running(CLOCK):
        yield bench


@pytest.fixture
def room(tmp_path: Path, ports: PtyBench) -> Room:
    return Room(tmp_path, ports.pattern)


@pytest.fixture
def run(room: Room) -> Iterator[Callable[..., Daemon]]:
    """Start `baskline run` with arguments; what still runs at the end of the test is killed."""
    started: list[Daemon] = []

    def start(*arguments: str, **options: list[str]) -> Daemon:
        daemon = Daemon(room, *arguments, **options)
        started.append(daemon)
        daemon.until_logged("started")
        return daemon

    yield start
    for daemon in started:
        daemon.kill()
