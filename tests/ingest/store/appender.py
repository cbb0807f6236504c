"""A process of its own that appends to a store: `appender.py STORE MODE`, told what to do by MODE.

`for-ever`: append and pack without end, and print the last number after each commit.  `hold`: begin a run,
print "ready", and end when standard input does.  `open`: no more than that.  Anything else is the identity
of an event to acknowledge.
"""

import sys
from itertools import count
from pathlib import Path

import numpy as np

from firmware_host.clock import Moment
from ingest.store.batch import StampedBatch
from ingest.store.store import Store

NOON_MS = 1_750_000_020_000
BOARDS = ("fern-1", "moss-2", "dune-3")


def batch(board: str, first: int, n: int) -> StampedBatch:
    seq = np.arange(first, first + n)
    values = np.column_stack([seq + 0.5, seq * 0.25])
    marks = np.zeros(n, np.uint32)
    return StampedBatch(board, "00000001", ("a", "b"), seq, NOON_MS + seq * 100, values, marks)


def append_for_ever(store: Store) -> None:
    store.begin_run(Moment(0, NOON_MS, True))
    known = store.readings.seen(BOARDS[0], "00000001")
    first = known[-1][1] + 1 if known else 0
    for step in count():
        n = 1500 if step % 10 == 9 else 7
        store.readings.append([batch(board, first, n) for board in BOARDS])
        first += n
        print(first - 1, flush=True)  # noqa: T201
        store.readings.compact(NOON_MS + step * 600_000)


def main(path: str, mode: str) -> None:
    with Store.open(Path(path)) as store:
        if mode == "for-ever":
            append_for_ever(store)
        elif mode == "hold":
            store.begin_run(Moment(0, NOON_MS, True))
            print("ready", flush=True)  # noqa: T201
            sys.stdin.read()
        elif mode != "open":
            store.events.acknowledge(mode, NOON_MS)


if __name__ == "__main__":
    main(*sys.argv[1:])
