"""How much disk a reading takes, and how fast the store writes and reads.

Run `python tests/bench/bench_store.py`; names of benches after it run only these.  One line a figure, beside
its target where there is one.  Everything is on real SQLite in a temporary folder.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import numpy as np

from firmware_host.clock import Moment
from ingest.store.batch import StampedBatch
from ingest.store.minutes import MinuteSummaries
from ingest.store.store import Store

START_MS = 1_735_689_600_000
DAY_S = 86_400
CHANNELS = ("uva_counts", "uvb_counts", "temperature_c")


def lit(seconds: np.ndarray) -> np.ndarray:
    """Twelve hours a day, with a warm-up of ten minutes."""
    of_day = seconds % DAY_S
    return np.clip(np.minimum(of_day - 6 * 3600, 18 * 3600 - of_day) / 600, 0, 1)


def readings(rng: np.random.Generator, board: str, first: int, n: int, cadence_s: float) -> StampedBatch:
    """Counts with noise of 0.3 %, temperature to 0.1 °C, times with a jitter of 1 to 3 ms."""
    seq = np.arange(first, first + n)
    seconds = seq * cadence_s
    light = lit(seconds) * (1 + 0.02 * np.sin(seconds / 500))
    uva = np.rint(40 + 1800 * light * rng.normal(1, 0.003, n) + rng.normal(0, 1.5, n))
    uvb = np.rint(25 + 620 * light * rng.normal(1, 0.003, n) + rng.normal(0, 1.5, n))
    warm = np.rint(10 * (24 + 9 * light + np.sin(seconds / 3000) + rng.normal(0, 0.04, n))) / 10
    jitter = rng.integers(1, 4, n) * rng.choice([-1, 1], n)
    utc_ms = START_MS + np.rint(seconds * 1000).astype(np.int64) + jitter
    values = np.column_stack([uva, uvb, warm])
    return StampedBatch(board, "0a1b2c3d", CHANNELS, seq, utc_ms, values, np.zeros(n, np.uint32))


def summarise(store: Store, rng: np.random.Generator) -> None:
    """Stand in for the caller: minutes with plausible numbers for all that is dirty."""
    for span in store.minutes.dirty():
        minute = np.arange(span.from_ms // 60_000, span.to_ms // 60_000)
        n = len(minute)
        light = lit((minute * 60 - START_MS // 1000).astype(np.float64))
        mean = 3.1 * light * rng.normal(1, 0.002, n)
        rows = MinuteSummaries(
            minute=minute,
            n=np.full(n, 60),
            covered_ms=np.full(n, 60_000),
            mean_uvi=mean,
            min_uvi=mean - 0.01 * light * rng.random(n),
            max_uvi=mean + 0.01 * light * rng.random(n),
            u_uvi=0.04 * mean,
            flags=np.zeros(n, np.uint32),
            dose_uvi_h=mean / 60,
        )
        with store.transaction():
            store.minutes.replace("ledge", int(minute[0]), int(minute[-1]) + 1, rows)
            store.minutes.clean(span)


def part(whole: StampedBatch, first: int, end: int) -> StampedBatch:
    at = slice(first, end)
    return StampedBatch(
        whole.board, whole.boot, CHANNELS, whole.seq[at], whole.utc_ms[at], whole.values[at], whole.marks[at]
    )


def timed(work: Callable[[], object]) -> float:
    """Return seconds."""
    begin = perf_counter()
    work()
    return perf_counter() - begin


def say(what: str, value: float, unit: str, target: str = "") -> None:
    print(f"{what:<66} {value:10.2f} {unit:<12} {target}")  # noqa: T201


def open_store(folder: str, name: str) -> Store:
    store = Store.open(Path(folder) / name)
    store.begin_run(Moment(0, START_MS, True))
    return store


def size_of(store_path: Path) -> int:
    return sum(path.stat().st_size for path in store_path.parent.glob(store_path.name + "*"))


def bench_month(folder: str) -> None:
    """A month at 1 Hz as a live board gives it, in commits of 10 s, packed and summarised on the way."""
    rng = np.random.default_rng(1)
    path = Path(folder) / "month.db"
    days, step_s = 30, 10
    n = days * DAY_S
    append_s = 0.0
    packing = []
    with open_store(folder, path.name) as store:
        for day in range(days):
            whole = readings(rng, "fern-1", day * DAY_S, DAY_S, 1.0)
            for first in range(0, DAY_S, step_s):
                batch = part(whole, first, first + step_s)
                append_s += timed(lambda batch=batch: store.readings.append([batch]))
                now_ms = int(batch.utc_ms[-1])
                packing.append(timed(lambda now_ms=now_ms: store.readings.compact(now_ms)))
            summarise(store, rng)
        (minutes,) = store._database.row("SELECT sum(pgsize) FROM dbstat WHERE name = 'minute_block'") or (0,)
    say("disk, a month at 1 Hz, 3 channels, all of it", size_of(path) / n, "B/reading", "<= 8")
    say("  of it minutes", minutes / n, "B/reading", "<= 0.6")
    say("append of 10 readings in a commit", append_s / (n / step_s) * 1e6, "us/commit")
    say("packing, all in all", sum(packing) / n * 1e6, "us/reading")
    say("  longest step", max(packing) * 1e3, "ms")


def bench_append(folder: str) -> None:
    rng = np.random.default_rng(2)
    with open_store(folder, "append.db") as store:
        batches = [readings(rng, "fern-1", first * 4096, 4096, 0.1) for first in range(100)]
        seconds = timed(lambda: [store.readings.append([batch]) for batch in batches])
        say("append of 4,096 readings in a commit", seconds / 100 / 4096 * 1e6, "us/reading", "<= 1.2")
        again = timed(lambda: [store.readings.append([batch]) for batch in batches])
        say("  the same again, all known", again / 100 / 4096 * 1e6, "us/reading")


def bench_live(folder: str) -> None:
    """64 boards at 10 Hz for a minute, in commits of a tenth of a second: one reading of each board."""
    rng = np.random.default_rng(3)
    wholes = [readings(rng, f"board-{number}", 0, 600, 0.1) for number in range(64)]
    commits = [[part(whole, k, k + 1) for whole in wholes] for k in range(600)]
    appends, packing = [], []
    with open_store(folder, "live.db") as store:
        for k, batches in enumerate(commits):
            appends.append(timed(lambda batches=batches: store.readings.append(batches)))
            if k % 5 == 4:
                packing.append(timed(lambda k=k: store.readings.compact(START_MS + k * 100)))
    say("64 boards at 10 Hz live, 10 commits/s", (sum(appends) + sum(packing)) / 60 * 100, "% of a core")
    say("  longest append", max(appends) * 1e3, "ms")
    say("  longest step of packing", max(packing) * 1e3, "ms")


def bench_year(folder: str) -> None:
    """A day of one spot out of a year of 32 boards at one reading each 10 s."""
    rng = np.random.default_rng(4)
    with open_store(folder, "year.db") as store:
        for month in range(12):
            store.readings.append([readings(rng, "board-0", month * 262_800, 262_800, 10.0)])
        fill_with_the_same(store, 31)
        days = []
        for _ in range(40):
            board, from_ms = (
                f"board-{rng.integers(0, 32)}",
                START_MS + int(rng.integers(1, 350)) * DAY_S * 1000,
            )
            days.append(
                timed(lambda b=board, a=from_ms: store.readings.between(b, a, a + DAY_S * 1000)) * 1e3
            )
        say("a day of one out of a year of 32 boards, median", float(np.median(days)), "ms", "<= 10")
        say("  slowest of 40", max(days), "ms")
        say("last reading of a board", timed(lambda: store.readings.last_utc_ms("board-3")) * 1e3, "ms")
        shift = timed(lambda: store.readings.restamp(1, 1000, clock_sure=True)) * 1e3
        say("re-stamping the whole year of all boards", shift, "ms")


def fill_with_the_same(store: Store, n_boards: int) -> None:
    """Give more boards the chunks of the first: reading them takes what any others would take."""
    for number in range(1, n_boards + 1):
        board = f"board-{number}"
        store.readings.append([readings(np.random.default_rng(number), board, 10_000_000, 1, 10.0)])
        store._database.execute(
            "INSERT INTO chunk SELECT NULL, board.board_id, run_id, start_ms, end_ms, stream.stream_id,"
            " last_batch + ?1 * 100000, n, data"
            " FROM chunk, board JOIN stream USING (board_id) WHERE chunk.board_id = 1 AND board = ?2",
            (number, board),
        )


def main() -> None:
    with tempfile.TemporaryDirectory(prefix="baskline-bench-") as folder:
        for bench in (bench_append, bench_live, bench_month, bench_year):
            if len(sys.argv) < 2 or bench.__name__ in sys.argv[1:]:
                bench(folder)


if __name__ == "__main__":
    main()
