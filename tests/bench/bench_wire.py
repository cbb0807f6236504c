"""How fast lines become readings: `python tests/bench/bench_wire.py`."""

# ruff: noqa: T201 - a benchmark prints what it measured

import time
from collections.abc import Callable

from firmware_host.lines import Parser
from firmware_host.mapped import LineMapping, MappedParser
from firmware_host.messages import Reading
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


if __name__ == "__main__":
    main()
