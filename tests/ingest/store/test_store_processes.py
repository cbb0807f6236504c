"""What other processes, their deaths and power cuts do to a store."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from exposure.events import Event, EventKind, Severity
from firmware_host.clock import Moment
from ingest.store.batch import StampedBatch
from ingest.store.errors import StoreError
from ingest.store.store import Store

APPENDER = Path(__file__).with_name("appender.py")
BOARDS = ("fern-1", "moss-2", "dune-3")
EVER_MS = 2**52


def start(store_path: Path, mode: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, str(APPENDER), str(store_path), mode],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def stop(process: "subprocess.Popen[str]") -> str:
    """Kill it the hard way; return what it had still said."""
    process.kill()
    rest, _ = process.communicate(timeout=30)
    return rest


def held(store: Store, board: str) -> np.ndarray:  # type: ignore[type-arg]
    batches = store.readings.between(board, 0, EVER_MS)
    for batch in batches:
        assert batch.values[:, 0].tolist() == (batch.seq + 0.5).tolist()
    return np.concatenate([batch.seq for batch in batches]) if batches else np.empty(0, np.int64)


def test_killing_the_daemon_neither_loses_nor_doubles_a_stored_reading(store_path: Path) -> None:
    said = -1
    for kill_after in (3, 25, 60, 140, 90):
        process = start(store_path, "for-ever")
        assert process.stdout is not None
        for _ in range(kill_after):
            said = int(process.stdout.readline())
        lines = stop(process).split()
        if lines:
            said = int(lines[-1])
        with Store.open(store_path, read_only=True) as store:
            ends = set()
            for board in BOARDS:
                seq = held(store, board)
                assert seq.tolist() == list(range(len(seq)))
                assert store.readings.seen(board, "00000001") == [(0, len(seq) - 1)]
                ends.add(len(seq) - 1)
                dirty = [span for span in store.minutes.dirty() if span.board == board]
                assert len(dirty) == 1, "no minute of a stored reading may be missed"
                extent = store.readings.extent(board)
                assert extent is not None
                assert dirty[0].from_ms <= extent[0] <= extent[1] < dirty[0].to_ms
            (end,) = ends  # one commit for all boards, so never one without the others
            assert end >= said


def test_a_power_cut_leaves_everything_up_to_some_moment_and_nothing_after(
    store_path: Path, tmp_path: Path, make_batch: Callable[..., StampedBatch], moment: Moment, noon_ms: int
) -> None:
    """What is on the disk then is the file, and the write-ahead log up to anywhere, with what was not written
    either missing or as it was before.
    """
    rng = np.random.default_rng(5)
    folder = tmp_path / "after"
    with Store.open(store_path) as store:
        store.begin_run(moment)
        commits = []
        for start_seq in range(0, 900, 6):
            store.readings.append(
                [make_batch(range(start_seq, start_seq + 6), board=board) for board in BOARDS]
            )
            store.readings.compact(noon_ms + start_seq * 60_000)
            commits.append(start_seq + 6)
        log = Path(f"{store_path}-wal").read_bytes()
        whole = store_path.read_bytes()
    found = set()
    for cut in sorted(rng.integers(0, len(log), 40).tolist()):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        (folder / "baskline.db").write_bytes(whole)
        torn = log[:cut] + (rng.bytes(8192) if cut % 2 else b"")
        (folder / "baskline.db-wal").write_bytes(torn)
        with Store.open(folder / "baskline.db") as store:
            sizes = {len(held(store, board)) for board in BOARDS}
            (size,) = sizes
            assert size in {0, *commits}
            for board in BOARDS:
                assert held(store, board).tolist() == list(range(size))
            store.begin_run(moment)
            new = store.readings.append([make_batch(range(900))])
            assert sum(len(batch) for batch in new) == 900 - size, "the board replays the rest"
            found.add(size)
    assert len(found) > 10


def test_an_event_is_on_the_disk_when_put_returns(
    store: Store, store_path: Path, monkeypatch: pytest.MonkeyPatch, make_batch: Callable[..., StampedBatch]
) -> None:
    flushed: list[str] = []
    wal = Path(f"{store_path}-wal")
    names = {path.stat().st_ino: path.name for path in (wal, store_path.parent)}
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda fd: (flushed.append(names[os.fstat(fd).st_ino]), real(fd)))
    store.readings.append([make_batch([0])])
    assert flushed == []
    store.events.put(
        Event(
            "over.ledge.1", EventKind.OVER_CEILING, "spot", "ledge", Severity.NOW, 1, "too high", "raise it"
        )
    )
    assert flushed == ["baskline.db-wal"]
    with store.transaction():
        store.readings.append([make_batch([1])])
        store.events.acknowledge("over.ledge.1", 5)
        assert flushed == ["baskline.db-wal"]
    assert flushed == ["baskline.db-wal"] * 2


def test_a_second_daemon_in_another_process_is_refused_until_the_first_dies(
    store_path: Path, moment: Moment
) -> None:
    process = start(store_path, "hold")
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    with Store.open(store_path) as store:
        with pytest.raises(StoreError, match=rf"another daemon .*process {process.pid}"):
            store.begin_run(moment)
        stop(process)
        assert store.begin_run(moment) == 2


def test_processes_that_open_a_new_store_together_all_get_it(store_path: Path) -> None:
    processes = [start(store_path, "open") for _ in range(6)]
    for process in processes:
        process.communicate(timeout=60)
    assert [process.returncode for process in processes] == [0] * 6


def test_another_process_acknowledges_while_the_daemon_appends(
    store: Store, store_path: Path, make_batch: Callable[..., StampedBatch]
) -> None:
    event = Event(
        "over.ledge.1", EventKind.OVER_CEILING, "spot", "ledge", Severity.NOW, 1, "too high", "raise it"
    )
    store.events.put(event)
    process = start(store_path, event.identity)
    appended = 0
    while process.poll() is None:
        store.readings.append([make_batch([appended])])
        appended += 1
    process.communicate(timeout=30)
    assert process.returncode == 0
    store.readings.append([make_batch([appended])])
    found = store.events.get(event.identity)
    assert found is not None
    assert found.acknowledged_ms is not None
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, appended)]


def test_what_another_process_cleans_becomes_dirty_again(
    store: Store, store_path: Path, make_batch: Callable[..., StampedBatch]
) -> None:
    store.readings.append([make_batch([0])])
    with Store.open(store_path) as other:
        (span,) = other.minutes.dirty()
        other.minutes.clean(span)
    store.readings.append([make_batch([1])])
    assert store.minutes.dirty() == [span]


def test_a_reader_sees_one_state_while_readings_are_packed(
    store: Store, store_path: Path, make_batch: Callable[..., StampedBatch], noon_ms: int
) -> None:
    with Store.open(store_path, read_only=True) as reader:
        for first in range(0, 400, 4):
            store.readings.append([make_batch(range(first, first + 4))])
            with reader._database.snapshot():
                before = reader.readings.between("fern-1", 0, EVER_MS)
                while store.readings.compact(noon_ms + first * 900_000):
                    pass
                after = reader.readings.between("fern-1", 0, EVER_MS)
            assert before[0].seq.tolist() == after[0].seq.tolist() == list(range(first + 4))
