"""How fast lines become readings, and a capture costs: `python tests/bench/bench_wire.py`."""

# ruff: noqa: T201 - a benchmark prints what it measured

import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from firmware_host.capture import CaptureWriter, read_capture
from firmware_host.clock import Moment
from firmware_host.lines import Parser
from firmware_host.mapped import LineMapping, MappedParser
from firmware_host.messages import Reading
from firmware_host.traffic import Received
from firmware_host.wire import WireParser, encode_reading

N_READINGS = 200_000
CHUNK_BYTES = 4096  # what one read of a busy port returns
ROUNDS = 5
CHANNELS = ("uva_counts", "uvb_counts", "temperature_c")


def readings() -> list[Reading]:
    """Readings of one board at 10 Hz, none like the one before."""
    return [
        Reading(
            "shelf-2",
            "4f1c09ab",
            seq,
            1042 + seq * 100,
            CHANNELS,
            (float(seq % 4093), float(seq % 769), 20.0 + seq % 640 / 64),
            0,
            False,
        )
        for seq in range(N_READINGS)
    ]


def best_rate(make: Callable[[], Parser], data: bytes) -> float:
    """Readings a second, the best of some rounds."""
    best_s = float("inf")
    for _ in range(ROUNDS):
        parser = make()
        start_s = time.perf_counter()
        for offset in range(0, len(data), CHUNK_BYTES):
            parser.feed(data[offset : offset + CHUNK_BYTES])
        best_s = min(best_s, time.perf_counter() - start_s)
        if parser.counts.readings < N_READINGS - 1:  # plain boards lose their first line
            raise RuntimeError(f"only {parser.counts.readings} readings")
    return N_READINGS / best_s


def capture_cost_us(wire: bytes) -> tuple[float, float]:
    """Microseconds a contained reading to write and to read a capture file, the best of some rounds."""
    at = Moment(1042, 1_730_637_000_000, True)
    items = [Received(at, 1, wire[i : i + CHUNK_BYTES]) for i in range(0, len(wire), CHUNK_BYTES)]
    best_write_s = best_read_s = float("inf")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "bench.capture"
        for _ in range(ROUNDS):
            start_s = time.perf_counter()
            with path.open("wb") as stream:
                writer = CaptureWriter(stream)
                for item in items:
                    writer.write(item)
            written_s = time.perf_counter()
            with path.open("rb") as stream:
                n_items = sum(1 for _ in read_capture(stream))
            best_read_s = min(best_read_s, time.perf_counter() - written_s)
            best_write_s = min(best_write_s, written_s - start_s)
            if n_items != len(items):
                raise RuntimeError(f"only {n_items} records")
    return best_write_s / N_READINGS * 1e6, best_read_s / N_READINGS * 1e6


def csv_line(reading: Reading) -> str:
    return f"{reading.board_ms},{','.join(map(str, reading.values))}\n"


def main() -> None:
    """Print readings a second for each parser."""
    said = readings()
    start_s = time.perf_counter()
    wire = b"".join(map(encode_reading, said))
    print(f"wire format, encoder      {N_READINGS / (time.perf_counter() - start_s):9,.0f} readings/s")
    print(f"wire format, parser       {best_rate(WireParser, wire):9,.0f} readings/s")
    mapping = LineMapping("csv", {name: i + 1 for i, name in enumerate(CHANNELS)}, board_ms=0)
    csv = "".join(map(csv_line, said)).encode()
    rate = best_rate(lambda: MappedParser(mapping, "shelf-2", "4f1c09ab"), csv)
    print(f"plain board, csv          {rate:9,.0f} readings/s")
    write_us, read_us = capture_cost_us(wire)
    print(f"capture, written          {write_us:9.2f} µs a reading in it")
    print(f"capture, read             {read_us:9.2f} µs a reading in it")


if __name__ == "__main__":
    main()
