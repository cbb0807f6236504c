"""Bytes → parse → calibrate → rules → durable store, replayed on one core, beside a plain script.

The plain script is what one would write first: readline on the port, json.loads, a polynomial, one committed
insert a row.  It reads its lines from a real pseudo-terminal by pyserial, as it would.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import io
import json
import os
import sqlite3
import tempfile
import threading
import tty
from datetime import date
from pathlib import Path
from time import perf_counter

import numpy as np
import serial

from calibrate.calibration import Calibration, Channel, Temperature, Uncertainty
from calibrate.models import LineModel
from firmware_host.capture import CaptureWriter
from firmware_host.clock import Moment
from firmware_host.messages import Hello, Reading
from firmware_host.traffic import LinkOpened, Received
from firmware_host.wire import encode_hello, encode_reading
from ingest.config import parse_config
from ingest.replay import replay
from ingest.store.store import Store

N_BOARDS = 16
N_READINGS = 400_000
CADENCE_MS = 1_000
CHUNK_BYTES = 4_096
N_PLAIN = 3_000
START_MS = 1_780_000_000_000


def main() -> None:
    """Print both rates and their ratio."""
    ours = ours_per_s()
    plain = plain_per_s()
    print(f"baskline replay: {ours:,.0f} readings/s")
    print(f"plain script:    {plain:,.0f} readings/s")
    print(f"ratio:           {ours / plain:.0f}")


def ours_per_s() -> float:
    """Return readings per second from capture bytes to a synced store, rules and summaries included."""
    config = parse_config(config_text(), file=Path("bench.toml"))
    calibrations = dict.fromkeys(config.spots, calibration())
    capture = io.BytesIO(capture_bytes())
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "bench.db") as store:
        started = perf_counter()
        done = replay(config, calibrations, store, capture)
        took_s = perf_counter() - started
    assert done.n_stored == N_READINGS, done
    return N_READINGS / took_s


def config_text() -> str:
    """Return a configuration with one spot a board."""
    lines = ['[bridge]\nsite = "bench"\nname = "bench"\ntime_zone = "UTC"\n']
    lines.append(
        '[enclosure.all]\nlabel = "All"\n[lamp.one]\nkind = "t5"\ninstalled = 2026-01-01\ndistance_cm = 30\n'
    )
    for n in range(N_BOARDS):
        # The capture comes in chunks of some 50 s, as no board does: that is no silence here.
        lines.append(f'[board.b{n}]\nidentity = "bench-{n}"\nlabel = "Board {n}"\nsilent_after_s = 300\n')
        lines.append(
            f'[spot.s{n}]\nlabel = "Spot {n}"\nenclosure = "all"\nlamp = "one"\nboard = "b{n}"\nzone = 3\n'
            'lit_from = "08:00"\nlit_until = "20:00"\n'
        )
    return "\n".join(lines)


def calibration() -> Calibration:
    """Return a line through two channels with a temperature coefficient."""
    return Calibration(
        lamp_kind="t5",
        sensor_kind="bench",
        model=LineModel(("uva_counts", "uvb_counts"), (10.0, 8.0), (0.001, 0.002)),
        channels=(Channel("uva_counts", noise=1.5), Channel("uvb_counts", noise=1.5)),
        uvi_range=(0.0, 8.0),
        uncertainty=Uncertainty(covariance=tuple(map(tuple, np.diag([1.0, 1.0, 1e-10, 4e-10]).tolist()))),
        made_on=date(2026, 3, 1),
        temperature=Temperature("temperature_c", 25.0, (10.0, 45.0), 0.002, 0.0005, 0.5),
    )


def capture_bytes() -> bytes:
    """Return a capture: lamps on by day, in chunks of a few KiB a board, as under load."""
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    rng = np.random.default_rng(1)
    per_board = N_READINGS // N_BOARDS
    t_ms = np.arange(1, per_board + 1) * CADENCE_MS
    lit = ((t_ms // 3_600_000) % 24 >= 8) & ((t_ms // 3_600_000) % 24 < 20)
    boards = []
    for n in range(N_BOARDS):
        uva = np.rint(10 + 600 * lit + rng.normal(0, 1.5, per_board)).astype(int)
        uvb = np.rint(8 + 500 * lit + rng.normal(0, 1.5, per_board)).astype(int)
        temperature = np.round(24 + 6 * lit + rng.normal(0, 0.05, per_board), 1)
        boards.append(_chunks(f"bench-{n}", t_ms, uva, uvb, temperature))
        at = Moment(0, START_MS, True)
        writer.write(LinkOpened(at, n + 1, f"/dev/bench{n}", ""))
        hello = Hello(
            f"bench-{n}", BOOT, "bench-1", "bench", CHANNELS, ("counts", "counts", "degC"), CADENCE_MS, 3600
        )
        writer.write(Received(at, n + 1, encode_hello(hello)))
    rows = [(at_ms, n, data) for n, chunks in enumerate(boards) for at_ms, data in chunks]
    for at_ms, n, data in sorted(rows, key=lambda row: row[:2]):
        writer.write(Received(Moment(at_ms, START_MS + at_ms, True), n + 1, data))
    return stream.getvalue()


BOOT = "0badcafe"
CHANNELS = ("uva_counts", "uvb_counts", "temperature_c")


def _chunks(
    board: str, t_ms: np.ndarray, uva: np.ndarray, uvb: np.ndarray, temperature: np.ndarray
) -> list[tuple[int, bytes]]:
    chunks: list[tuple[int, bytes]] = []
    waiting = b""
    for seq, row in enumerate(
        zip(t_ms.tolist(), uva.tolist(), uvb.tolist(), temperature.tolist(), strict=True)
    ):
        at_ms, *values = row
        waiting += encode_reading(
            Reading(board, BOOT, seq, at_ms, CHANNELS, tuple(map(float, values)), 0, False)
        )
        if len(waiting) >= CHUNK_BYTES:
            chunks.append((at_ms, waiting))
            waiting = b""
    if waiting:
        chunks.append((int(t_ms[-1]), waiting))
    return chunks


def plain_per_s() -> float:
    """Return the readings per second of the plain script."""
    lines = b"".join(
        json.dumps({"ms": n * 1000, "uva": 600 + n % 7, "uvb": 500 + n % 5, "t": 25.1}).encode() + b"\n"
        for n in range(N_PLAIN)
    )
    master, slave = os.openpty()
    tty.setraw(slave)
    feeder = threading.Thread(target=_feed, args=(master, lines))
    with (
        tempfile.TemporaryDirectory() as folder,
        serial.Serial(os.ttyname(slave), 115_200, timeout=5) as port,
    ):
        database = sqlite3.connect(Path(folder) / "plain.db")
        database.execute("CREATE TABLE reading (ms INTEGER, uvi REAL, t REAL)")
        database.execute("CREATE INDEX by_time ON reading (ms)")
        feeder.start()
        started = perf_counter()
        for _ in range(N_PLAIN):
            said = json.loads(port.readline())
            uvi = 0.001 * (said["uva"] - 10) + 0.002 * (said["uvb"] - 8)
            database.execute("INSERT INTO reading VALUES (?, ?, ?)", (said["ms"], uvi, said["t"]))
            database.commit()
        took_s = perf_counter() - started
        feeder.join()
        database.close()
    os.close(master)
    os.close(slave)
    return N_PLAIN / took_s


def _feed(master: int, lines: bytes) -> None:
    while lines:
        lines = lines[os.write(master, lines[:1024]) :]


if __name__ == "__main__":
    main()
