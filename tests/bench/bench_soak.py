"""A week of the whole firmware on real MicroPython, accelerated: `python -m tests.bench.bench_soak [DAYS]`.

The firmware with its drivers runs on hand-driven time and a simulated chip, in a heap of about the size that
an RP2040 leaves.  Each day the lamp comes on and goes off, the host is away for half an hour and asks for
what it missed, and the chip falls silent and is reset.  The host's real parser reads what comes.  Printed:
the memory in use hour by hour as a curve, and whether every reading arrived.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from firmware_host.messages import Garbage, Mark, Reading, ReplayEnd
from firmware_host.wire import WireParser
from tests.hardware.conftest import ON_BOARD, on_board_environment
from tests.hardware.firmware_bench import micropython

DAYS = 7
CADENCE_MS = 1000
HEAP = "256K"
LEVELS = "▁▂▃▄▅▆▇█"
BYTES_AT_ONCE = 1 << 16


def soak(days: int, folder: Path) -> bool:
    """Run it, print what was seen, and return whether all was well."""
    started_s = time.perf_counter()
    parser = WireParser()
    seqs: list[int] = []
    in_use: list[int] = []
    free: list[int] = []
    n_replayed = n_garbage = n_ends = 0
    marks = dict.fromkeys(Mark, 0)
    with subprocess.Popen(
        [micropython(), "-X", f"heapsize={HEAP}", str(ON_BOARD / "soak.py"), str(days), str(CADENCE_MS)],
        cwd=folder,
        env=on_board_environment(),
        stdout=subprocess.PIPE,
    ) as board:
        assert board.stdout is not None
        rest = b""
        while data := board.stdout.read1(BYTES_AT_ONCE):
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                if line.startswith(b"#"):
                    _, _, alloc, left = line.split()
                    in_use.append(int(alloc))
                    free.append(int(left))
            said = b"".join(line + b"\n" for line in lines if not line.startswith(b"#"))
            for message in parser.feed(said):
                match message:
                    case Reading():
                        seqs.append(message.seq)
                        n_replayed += message.replayed
                        for mark in Mark:
                            marks[mark] += bool(message.marks & mark)
                    case ReplayEnd():
                        n_ends += 1
                    case Garbage():
                        n_garbage += 1
    took_s = time.perf_counter() - started_s
    wanted = days * 86_400_000 // CADENCE_MS
    whole = sorted(seqs) == list(range(wanted))
    print(
        f"{days} days at one reading each {CADENCE_MS} ms, in {took_s:.0f} s:"
        f" {wanted / took_s:,.0f} readings/s"
    )
    print(
        f"{len(seqs):,} readings of {wanted:,} arrived, {'each once' if whole else 'NOT each once'};"
        f" {n_replayed:,} of them in {n_ends} replays; {n_garbage} lines that made no sense"
    )
    print("marked: " + ", ".join(f"{(mark.name or '').lower()} {n:,}" for mark, n in marks.items()))
    curve = np.asarray(in_use)
    grown = int(curve[-24:].max() - curve[:24].max())
    print(
        f"memory in use, {curve.min():,} to {curve.max():,} bytes, a character for"
        f" {max(1, len(curve) // 84)} h:"
    )
    print(f"  {_curve(curve)}")
    print(f"last day against first: {grown:+,} bytes; {min(free):,} bytes always free of {HEAP}")
    return whole and grown <= 256 and board.returncode == 0  # the allocator's own grain


def _curve(values: np.ndarray) -> str:
    step = max(1, len(values) // 84)
    highest = [int(values[start : start + step].max()) for start in range(0, len(values), step)]
    # On an axis from nothing to twice the level: what creeps would be seen, and what does not looks level.
    scale = 2 * values.mean() / (len(LEVELS) - 1)
    return "".join(LEVELS[min(len(LEVELS) - 1, round(value / scale))] for value in highest)


if __name__ == "__main__":
    with TemporaryDirectory() as scratch:
        sys.exit(0 if soak(int(sys.argv[1]) if len(sys.argv) > 1 else DAYS, Path(scratch)) else 1)
