"""What 64 live boards at 10 Hz cost the host: `python tests/bench/bench_hub.py`.

The boards are simulated in a process of their own, their readings spread over the cadence; the figure is the
processor time of this process, which does what the daemon does from the ports up to batches of readings.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from firmware_host.batch import ReadingBatch
from firmware_host.clock import Moment, SystemClock
from firmware_host.hub import SerialHub
from firmware_host.messages import Reading
from firmware_host.news import Lost, News
from firmware_host.ports import PortWish, find_ports
from firmware_host.session import LinkSession
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from firmware_host.traffic import LinkClosed, LinkOpened, Received
from firmware_host.wire import WireParser, encode_reading

N_BOARDS = 64
CADENCE_MS = 100
SETTLE_S = 3.0
MEASURED_S = 10.0
UNITS = {"uva_counts": "counts", "uvb_counts": "counts", "temperature_c": "degC"}

N_FAST = 200_000
FAST_CHUNK_BYTES = 65_536


def channels_at(at_ms: float) -> Mapping[str, float]:
    """What a sensor shows: numbers of the usual length."""
    return {"uva_counts": int(at_ms) % 4093, "uvb_counts": int(at_ms) % 769, "temperature_c": 31.25}


def simulate(directory: Path) -> None:
    """Be the boards, until the input closes."""
    clock = SystemClock()
    with PtyBench(directory) as bench:
        for number in range(N_BOARDS):
            model = BoardModel(f"board-{number}", UNITS, cadence_ms=CADENCE_MS)
            phase_ms = number * CADENCE_MS // N_BOARDS
            bench.add(SimulatedBoard(model, channels_at, seed=number), clock.moment().mono_ms - phase_ms)
        with bench.running(clock):
            print("ready", flush=True)
            sys.stdin.read()


class Host:
    """The reading side."""

    def __init__(self, pattern: str) -> None:
        self.clock = SystemClock()
        wishes = [PortWish(pattern)]
        self.hub = SerialHub(lambda: find_ports(wishes), self.clock)
        self.sessions: dict[int, LinkSession] = {}
        self.seqs: dict[tuple[str, str], list[int]] = {}
        self.n_polls = self.n_batches = self.n_lost = 0
        self.delays_ms: list[int] = []

    def run(self, seconds: float) -> None:
        """Read for so long."""
        end_ms = self.clock.moment().mono_ms + round(seconds * 1000)
        while self.clock.moment().mono_ms < end_ms:
            self.step()

    def step(self) -> None:
        """Poll once."""
        traffic = self.hub.poll(0.1)
        self.n_polls += 1
        for item in traffic:
            match item:
                case Received():
                    self.keep(self.sessions[item.link].receive(item.data, item.at), item.at)
                case LinkOpened():
                    self.sessions[item.link] = LinkSession(WireParser(), item.at, stored=lambda _, __: ())
                case LinkClosed():
                    self.keep(self.sessions.pop(item.link).close(item.at), item.at)
        at = traffic[-1].at
        for link, session in self.sessions.items():
            due_ms = session.next_deadline_ms
            if due_ms is not None and due_ms <= at.mono_ms:
                self.keep(session.tick(at), at)
            outgoing = session.take_outgoing()
            if outgoing:
                self.hub.send(link, outgoing)

    def keep(self, news: list[News], at: Moment) -> None:
        """Count what came."""
        for item in news:
            if isinstance(item, ReadingBatch):
                self.n_batches += 1
                self.seqs.setdefault((item.board, item.boot), []).extend(item.seq.tolist())
                self.delays_ms.append(at.mono_ms - int(item.host_ms[-1]))
            elif isinstance(item, Lost):
                self.n_lost += item.last_seq - item.first_seq + 1


def live() -> None:
    """Measure the processor time for boards at real speed."""
    with TemporaryDirectory() as directory:
        boards = subprocess.Popen(
            [sys.executable, __file__, directory], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        assert boards.stdout is not None
        boards.stdout.readline()
        host = Host(f"{directory}/board-*")
        host.run(SETTLE_S)
        polls, batches = host.n_polls, host.n_batches
        host.delays_ms.clear()
        wall_s, processor_s = time.perf_counter(), time.process_time()
        host.run(MEASURED_S)
        wall_s, processor_s = time.perf_counter() - wall_s, time.process_time() - processor_s
        polls, batches = host.n_polls - polls, host.n_batches - batches
        host.hub.close()
        boards.communicate()
    whole = sum(sorted(seqs) == list(range(len(seqs))) for seqs in host.seqs.values())
    delays_ms = sorted(host.delays_ms)
    median_ms, p99_ms = delays_ms[len(delays_ms) // 2], delays_ms[len(delays_ms) * 99 // 100]
    print(
        f"{N_BOARDS} boards at {1000 / CADENCE_MS:.0f} Hz, {MEASURED_S:.0f} s:"
        f" {100 * processor_s / wall_s:.1f} % of one core,"
        f" {polls / wall_s:.0f} wake-ups/s, {batches / wall_s:.0f} batches/s,"
        f" stamp to batch p50 {median_ms} ms p99 {p99_ms} ms"
    )
    print(f"{whole} of {len(host.seqs)} boards without a missing reading, {host.n_lost} readings lost")


def fast() -> None:
    """Measure bytes to batches as fast as it goes, in one process."""
    names = tuple(UNITS)
    data = b"".join(
        encode_reading(
            Reading("shelf-2", "4f1c09ab", seq, seq * 100, names, (seq % 4093, seq % 769, 31.25), 0, False)
        )
        for seq in range(N_FAST)
    )
    chunks = [data[start : start + FAST_CHUNK_BYTES] for start in range(0, len(data), FAST_CHUNK_BYTES)]
    parse_s, session_s = [], []
    for _ in range(5):
        parser = WireParser()
        start_s = time.perf_counter()
        for chunk in chunks:
            parser.feed(chunk)
        parse_s.append(time.perf_counter() - start_s)
        session = LinkSession(WireParser(), Moment(0, 0, False), stored=lambda _, __: ())
        n = 0
        start_s = time.perf_counter()
        for number, chunk in enumerate(chunks):
            news = session.receive(chunk, Moment(number * 70_000, 0, False))
            n += sum(len(item) for item in news if isinstance(item, ReadingBatch))
        session_s.append(time.perf_counter() - start_s)
    total_s, parser_s = min(session_s), min(parse_s)
    parser_us, more_us = 1e6 * parser_s / N_FAST, 1e6 * (total_s - parser_s) / N_FAST
    print(
        f"bytes to batches: {N_FAST / total_s:,.0f} readings/s,"
        f" {more_us:.2f} µs a reading over the parser's {parser_us:.2f}"
    )
    session = LinkSession(WireParser(), Moment(0, 0, False), stored=lambda _, __: ())
    lines = data.splitlines(True)[:20_000]
    start_s = time.perf_counter()
    for number, line in enumerate(lines):
        session.receive(line, Moment(number * 100, 0, False))
    chunk_us = 1e6 * (time.perf_counter() - start_s) / len(lines)
    print(f"a chunk of one reading: {chunk_us:.0f} µs, parser included")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        simulate(Path(sys.argv[1]))
    else:
        fast()
        live()
