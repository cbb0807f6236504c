"""What is on a port, told without disturbing it: real MicroPython, real firmware, real pseudo-terminals."""

import os
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firmware_host.clock import SystemClock
from firmware_host.flash import Occupant, PortLook, look_at_ports
from firmware_host.ports import Port
from tests.hardware.firmware_bench import FirmwareBench

MakeBench = Callable[..., FirmwareBench]


def look(*paths: str, listen_s: float = 4.0) -> list[PortLook]:
    ports = [Port(path, path, "", 115_200) for path in paths]
    return look_at_ports(lambda: ports, SystemClock(), listen_s=listen_s)


@pytest.fixture
def silent_port() -> Iterator[tuple[int, str]]:
    board_end, host_end = os.openpty()
    tty.setraw(host_end)
    yield board_end, os.ttyname(host_end)
    os.close(board_end)
    os.close(host_end)


def test_our_firmware_a_bare_prompt_and_silence_are_told_apart(
    make_bench: MakeBench, silent_port: tuple[int, str]
) -> None:
    ours = make_bench(settings={"cadence_ms": 200})
    bare = make_bench(bare=True)
    looks = look(ours.port, bare.port, silent_port[1])
    assert [found.occupant for found in looks] == [Occupant.OURS, Occupant.PROMPT, Occupant.SILENT]
    assert looks[0].board == ours.identity
    assert looks[0].hello is not None
    assert looks[0].hello.cadence_ms == 200


def test_a_look_ends_as_soon_as_all_have_answered(make_bench: MakeBench) -> None:
    bench = make_bench(settings={"cadence_ms": 200})
    clock = SystemClock()
    started_ms = clock.moment().mono_ms
    assert look(bench.port, listen_s=30)[0].occupant is Occupant.OURS
    assert clock.moment().mono_ms - started_ms < 10_000


def test_a_program_that_runs_on_micropython_is_not_stopped_by_a_look(make_bench: MakeBench) -> None:
    bench = make_bench(bare=True)
    (bench.folder / "main.py").write_text(
        "import time\nwhile True:\n    print('tick of another program')\n    time.sleep(0.1)\n"
    )
    bench.power_cycle()
    for _ in range(2):  # it still runs at the second look
        found = look(bench.port, listen_s=1.0)[0]
        assert found.occupant is Occupant.OTHER
        assert "tick of another program" in found.excerpt


def test_a_port_that_is_not_there_says_why(tmp_path: Path) -> None:
    found = look(str(tmp_path / "ttyACM9"), listen_s=1.0)[0]
    assert found.occupant is Occupant.UNUSABLE
    assert found.problem is not None
    assert found.problem.what == "there is no such port"
