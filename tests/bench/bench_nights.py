"""What the end of a day costs: a day out of its readings, eight weeks of days, and one step of the daemon.

Run `python -m tests.bench.bench_nights`.  Each cadence has a process of its own, for its memory.
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path
from time import process_time

import numpy as np

from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.day_records import DayRecords
from ingest.lamp_views import lamp_view
from ingest.nightly import GRACE_MS, Nightly
from ingest.record_upkeep import RecordUpkeep
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.ingest.nights import DAY_MS, LIT_MS, MIDNIGHT_MS, TODAY_MS
from tests.ingest.rig import DARK_COUNTS, TODAY, UVI_PER_COUNT, calibration, config

# Milliseconds between readings, and days before the day.
CADENCES = {"1/min": (60_000, 55), "1 Hz": (1_000, 55), "10 Hz": (100, 2)}

# What the loop may be held up by, and what the daemon may grow by meanwhile.
LONGEST_STEP_MS = 30.0
MOST_MORE_MB = 18.0


def a_day(day: int, step_ms: int) -> StampedBatch:
    """Return the readings of a day, TODAY is 0, with noise."""
    at = np.arange(TODAY_MS + day * DAY_MS, TODAY_MS + (day + 1) * DAY_MS, step_ms)
    of_day = at % DAY_MS
    uvi = np.where((of_day >= LIT_MS[0]) & (of_day < LIT_MS[1]), 1.8 * 0.999**day, 0.0)
    seen = np.rint(
        DARK_COUNTS + uvi / UVI_PER_COUNT + 1.5 * np.random.default_rng(day + 99).normal(size=len(at))
    )
    return StampedBatch(
        "rock-1",
        "0000000a",
        ("uva_counts", "temperature_c"),
        np.arange(len(at)) + (day + 99) * len(at),
        at,
        np.column_stack([seen, np.full(len(at), 25.0)]),
        np.zeros(len(at), np.uint32),
    )


def filled(path: Path, step_ms: int, days: int) -> None:
    """Make a store, in a process that keeps its memory to itself."""
    with Store.open(path) as store:
        store.begin_run(Moment(0, TODAY_MS, True))
        record_assignments(store, config(), {"ledge": calibration()}, TODAY_MS - days * DAY_MS)
        for day in range(-days, 1):
            store.readings.append([a_day(day, step_ms)])
        store.judged.set_through("ledge", TODAY_MS)


def took_ms(work: Callable[[], object]) -> float:
    """Return how long something takes the processor: other programs do not count."""
    began = process_time()
    work()
    return 1000 * (process_time() - began)


def peak_mb() -> float:
    """Return the most memory that this process ever had."""
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return int(status["VmHWM"].split()[0]) / 1024


def measure(path: Path, name: str, days: int) -> None:
    """Print what it takes at one cadence."""
    first, yesterday = TODAY - timedelta(days=days), TODAY - timedelta(days=1)
    with Store.open(path) as store:
        store.begin_run(Moment(1, MIDNIGHT_MS, True))
        records = DayRecords(store, config())
        before_mb = peak_mb()
        one = [took_ms(lambda: records.derive("ledge", TODAY)) for _ in range(3)]
        more_mb = peak_mb() - before_mb
        print(f"{name:6} a day out of its readings       {min(one):8.1f} ms")
        _ = lamp_view(store, config(), records, "tube", "ledge", first)  # all modules are loaded
        afresh = took_ms(lambda: records.of("ledge", first, TODAY))
        print(f"{name:6} {days + 1:2} days out of their readings    {afresh:8.1f} ms")
        for record in records.of("ledge", first, yesterday):
            records.keep(record)
        kept = took_ms(lambda: records.of("ledge", first, yesterday))
        print(f"{name:6} {days:2} days that are on record       {kept:8.1f} ms")
        view = took_ms(lambda: lamp_view(store, config(), records, "tube", "ledge", yesterday))
        print(f"{name:6} the lamp over these days        {view:8.1f} ms")
        nightly = Nightly(store, config(), {"ledge": calibration()}, MIDNIGHT_MS, bulk=False)
        store.judged.set_through("ledge", TODAY_MS)
        steps, at_ms = [], MIDNIGHT_MS + GRACE_MS
        while store.judged.through("ledge") == TODAY_MS:
            with store.transaction():
                steps.append(took_ms(partial(nightly.step, at_ms)))
            at_ms += 1_000
        print(
            f"{name:6} the daemon's night for one spot {sum(steps):8.1f} ms in {len(steps)} steps, "
            f"the longest {max(steps):.1f} ms (at most {LONGEST_STEP_MS:.0f})"
        )
        anew = calibration(0.004)
        record_assignments(store, config(), {"ledge": anew}, MIDNIGHT_MS - 12 * 3_600_000)
        upkeep = RecordUpkeep(store, config())
        by_anew: list[float] = []
        while not by_anew or not upkeep.is_done:
            by_anew.append(took_ms(partial(upkeep.step, MIDNIGHT_MS + GRACE_MS)))
        print(
            f"{name:6} the lamp by a new calibration   {sum(by_anew):8.1f} ms in {len(by_anew)} steps, "
            f"the longest {max(by_anew):.1f} ms (at most {LONGEST_STEP_MS:.0f})"
        )
        print(f"{name:6} memory meanwhile                {more_mb:8.0f} MB (at most {MOST_MORE_MB:.0f})")
        if max(*steps, *by_anew) > LONGEST_STEP_MS or more_mb > MOST_MORE_MB:
            raise SystemExit(f"{name}: over what the end of a day may cost")


def main() -> int:
    """Measure each cadence."""
    if len(sys.argv) > 2:
        measure(Path(sys.argv[1]), sys.argv[2], CADENCES[sys.argv[2]][1])
        return 0
    failed = False
    with tempfile.TemporaryDirectory(prefix="baskline-nights-") as folder:
        for name, (step_ms, days) in CADENCES.items():
            path = Path(folder) / f"{step_ms}.db"
            filled(path, step_ms, days)
            script = [sys.executable, "-m", "tests.bench.bench_nights", str(path), name]
            failed |= subprocess.run(script, check=False).returncode != 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
