"""A sensor on the Pi's own bus, through the real daemon into the store."""

import threading
from pathlib import Path

import pytest

from firmware_host.clock import SystemClock
from firmware_host.messages import Mark
from ingest.config import Config, parse_config
from ingest.daemon import Daemon
from ingest.store.errors import StoreError
from ingest.store.store import Store
from tests.firmware_host.pi_bus.simulated_smbus import Chips

LTR390 = 0x53


def config(folder: Path) -> Config:
    text = """
        [bridge]
        site = "home"
        name = "room"
        time_zone = "UTC"
        commit_interval_s = 0.1
        [serial]
        ports = ["/dev/ttyACM-none*"]
        [pi_bus]
        identity = "pi-shelf"
        cadence_ms = 100
    """
    return parse_config(text, file=folder / "baskline.toml")


def test_its_readings_are_kept_and_its_faults_marked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = SystemClock()
    chips = Chips(clock, tmp_path / "i2c-1")
    chips.add(LTR390, "ltr390", uv=321)
    monkeypatch.setattr("smbus2.SMBus", chips.smbus)
    daemon = Daemon(config(tmp_path), clock, capture=tmp_path / "room.capture")
    running = threading.Thread(target=daemon.run)
    running.start()

    def stored_until(mark: Mark) -> None:
        deadline_ms = clock.moment().mono_ms + 15_000
        while not any(marks == mark for _, marks in stored(tmp_path / "baskline.db")):
            assert clock.moment().mono_ms < deadline_ms
            clock.wait_s(0.05)

    try:
        stored_until(Mark(0))
        chips.silent.add(LTR390)
        stored_until(Mark.FAULT)
    finally:
        daemon.stop()
        running.join()
    assert chips.n_open == 0
    kept = stored(tmp_path / "baskline.db")
    assert {value for value, marks in kept if not marks} == {321}
    with Store.open(tmp_path / "baskline.db", read_only=True) as store:
        board = store.boards.get("pi-shelf")
        boot = store.readings.between("pi-shelf", 0, 1 << 60)[-1].boot
        assert board is not None
        assert len(store.readings.seen("pi-shelf", boot)) == 1  # no gap
    assert (tmp_path / "room.capture").stat().st_size > 0


def stored(path: Path) -> list[tuple[float | None, int]]:
    if not path.exists():
        return []
    try:
        store = Store.open(path, read_only=True)
    except StoreError:  # its tables are being made just now
        return []
    with store:
        batches = store.readings.between("pi-shelf", 0, 1 << 60)
    rows = []
    for batch in batches:
        for index, marks in enumerate(batch.marks.tolist()):
            value = None
            if "uv_counts" in batch.channels:
                value = float(batch.values[index, batch.channels.index("uv_counts")])
            rows.append((value, marks & sum(Mark)))  # the store has bits of its own beside the board's
    return rows
