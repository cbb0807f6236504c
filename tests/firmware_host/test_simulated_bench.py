import os
import select
from collections.abc import Mapping
from pathlib import Path

import pytest
import serial

from firmware_host.clock import SystemClock
from firmware_host.messages import Reading
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.wire import WireParser, encode_time_request


def channels_at(at_ms: float) -> Mapping[str, float]:
    return {"uva_counts": 100.0}


def simulated(name: str = "a") -> SimulatedBoard:
    return SimulatedBoard(BoardModel(name, {"uva_counts": "counts"}, cadence_ms=100), channels_at, seed=1)


def read_soon(fd: int) -> bytes:
    """Read what a pump has sent: the system hands it over in its own time."""
    assert select.select([fd], [], [], 5)[0]
    return os.read(fd, 65_536)


def test_a_board_is_read_and_asked_through_an_ordinary_serial_port(bench: PtyBench, tmp_path: Path) -> None:
    plugged = bench.add(simulated(), 0)
    assert Path(bench.pattern).parent == tmp_path
    with serial.Serial(str(plugged.name), 115_200, timeout=5) as port:
        port.write(encode_time_request(3))
        bench.pump(1_000)
        lines = [port.readline() for _ in range(12)]
    kinds = [line.split(b" ")[1] for line in lines]
    assert kinds.count(b"hello") == 1
    assert kinds.count(b"r") == 10
    assert kinds.count(b"time") == 1


def test_bytes_pass_unchanged_through_the_port(bench: PtyBench) -> None:
    plugged = bench.add(simulated(), 0)
    fd = os.open(plugged.name, os.O_RDWR | os.O_NOCTTY)  # no settings made by the host
    bench.pump(100)
    data = read_soon(fd)
    os.close(fd)
    assert data.endswith(b"\n")
    assert b"\r" not in data


def test_an_unplugged_board_hangs_up_its_port_and_comes_back_on_a_new_one_with_a_new_boot(
    bench: PtyBench,
) -> None:
    board = simulated()
    plugged = bench.add(board, 0)
    fd = os.open(plugged.name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    boot, port = board.boot, os.path.realpath(plugged.name)
    bench.unplug("a")
    assert not plugged.name.exists()
    with pytest.raises(OSError, match="Input/output error"):
        os.write(fd, b"x")
    assert not board.powered
    bench.plug("a", 5_000)
    assert os.path.realpath(plugged.name) != port
    assert board.boot != boot
    os.close(fd)


def test_a_board_with_power_of_its_own_measures_on_while_unplugged(bench: PtyBench) -> None:
    board = simulated()
    bench.add(board, 0)
    bench.pump(1_000)
    boot = board.boot
    bench.unplug("a", keep_power=True)
    bench.pump(5_000)
    bench.plug("a", 5_000)
    assert board.boot == boot
    assert board.next_seq == 50


def test_plugging_twice_is_refused(bench: PtyBench) -> None:
    bench.add(simulated(), 0)
    with pytest.raises(ValueError, match="plugged in already"):
        bench.plug("a", 0)
    bench.unplug("a")
    with pytest.raises(ValueError, match="not plugged in"):
        bench.unplug("a")


def test_a_host_that_does_not_read_loses_whole_lines_only(bench: PtyBench) -> None:
    plugged = bench.add(simulated(), 0)
    fd = os.open(plugged.name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    for now_ms in range(0, 100_000, 1_000):
        bench.pump(now_ms)
    parser, seqs = WireParser(), []
    for now_ms in range(100_000, 103_000, 100):
        bench.pump(now_ms)
        messages = parser.feed(read_soon(fd))
        seqs += [message.seq for message in messages if isinstance(message, Reading)]
    os.close(fd)
    assert parser.counts.garbage_lines.total() == 0
    assert len(seqs) < 1_030
    assert seqs[-1] >= 1_020  # and the newest come through again


def test_a_thread_drives_the_boards_at_real_speed(bench: PtyBench) -> None:
    clock = SystemClock()
    plugged = bench.add(simulated(), clock.moment().mono_ms)
    with serial.Serial(str(plugged.name), 115_200, timeout=5) as port, bench.running(clock):
        start_ms = clock.moment().mono_ms
        for _ in range(6):
            assert port.readline()
        assert 350 <= clock.moment().mono_ms - start_ms <= 2_000
