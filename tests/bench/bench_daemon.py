"""What `baskline run` costs with 64 boards at 10 Hz and a broker: processor, memory, and what it loses.

The boards are simulated in a process of their own; the figures are those of the daemon's process alone.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from firmware_host.clock import SystemClock
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from ingest.store.store import Store
from tests.bench.bench_mqtt_latency import BOARD, CALIBRATION, CONFIG, broker

N_BOARDS = 64
CADENCE_MS = 100
UNITS = {"uva_counts": "counts", "uvb_counts": "counts", "temperature_c": "C"}
SETTLE_S = 10.0
MEASURED_S = 30.0
CLOCK = SystemClock()


def main() -> None:
    """Run the daemon on the boards, and print what it took."""
    with TemporaryDirectory() as name, broker() as mqtt_port:
        folder = Path(name)
        (folder / "ports").mkdir()
        boards = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.bench_daemon", str(folder / "ports")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert boards.stdout is not None
        boards.stdout.readline()
        daemon = started(folder, mqtt_port)
        CLOCK.wait_s(SETTLE_S)
        before_s, began_ms = processor_s(daemon.pid), CLOCK.moment().mono_ms
        CLOCK.wait_s(MEASURED_S)
        share = 1000 * (processor_s(daemon.pid) - before_s) / (CLOCK.moment().mono_ms - began_ms)
        now_mb, peak_mb = memory_mb(daemon.pid)
        daemon.send_signal(signal.SIGTERM)
        code = daemon.wait()
        boards.communicate()
        n_boards, n_readings, n_missing = kept(folder / "baskline.db")
    print(f"{n_boards} boards at {1000 / CADENCE_MS:.0f} Hz: {100 * share:.1f} % of one core")
    print(f"resident memory: {now_mb:.0f} MB, at most {peak_mb:.0f} MB")
    print(f"{n_readings} readings stored, {n_missing} missing; exit code {code}")


def simulate(folder: Path) -> None:
    """Be the boards, until the input closes: spots in their band, with some noise."""
    with PtyBench(folder) as bench:
        for number in range(N_BOARDS):
            model = BoardModel(f"board-{number}", UNITS, cadence_ms=CADENCE_MS)
            phase_ms = number * CADENCE_MS // N_BOARDS
            bench.add(SimulatedBoard(model, light, seed=number), CLOCK.moment().mono_ms - phase_ms)
        with bench.running(CLOCK):
            print("ready", flush=True)
            sys.stdin.read()


def light(at_ms: float) -> Mapping[str, float]:
    """Return what a sensor in the middle of its band shows."""
    return {"uva_counts": 612 + int(at_ms) * 7919 % 5, "uvb_counts": 80, "temperature_c": 31.25}


def started(folder: Path, mqtt_port: int) -> subprocess.Popen[bytes]:
    """Return the daemon, running on a configuration of its own."""
    usual_rules = "".join(line for line in BOARD.splitlines(True) if not line.startswith("rules"))
    tables = "".join(usual_rules.format(number=number) for number in range(N_BOARDS))
    config = CONFIG.format(ports=folder / "ports" / "board-*", mqtt_port=mqtt_port, boards=tables)
    (folder / "calibration.toml").write_text(CALIBRATION)
    (folder / "baskline.toml").write_text(config)
    return subprocess.Popen(
        [sys.executable, "-c", "from baskline.app import main; main()", "run"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def processor_s(pid: int) -> float:
    """Return the processor time that a process has taken, all its threads together [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int) -> tuple[float, float]:
    """Return the resident memory of a process, now and at most so far [MB]."""
    lines = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    return tuple(int(lines[key].split()[0]) * 1024 / 1e6 for key in ("VmRSS", "VmHWM"))  # type: ignore[return-value]


def kept(path: Path) -> tuple[int, int, int]:
    """Return how many boards and readings are stored, and how many are missing between them."""
    n_readings = n_missing = 0
    with Store.open(path, read_only=True) as store:
        boards = store.boards.all()
        for board in boards:
            for batch in store.readings.between(board.board, 0, 1 << 52):
                n_readings += len(batch)
                n_missing += int(batch.seq.max()) + 1 - len(batch)
    return len(boards), n_readings, n_missing


if __name__ == "__main__":
    if len(sys.argv) > 1:
        simulate(Path(sys.argv[1]))
    else:
        main()
