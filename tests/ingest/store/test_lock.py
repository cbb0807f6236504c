import threading
from pathlib import Path

import pytest

from ingest.store.errors import StoreError
from ingest.store.lock import WriterLock, is_held


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "room.db"


def test_a_lock_is_seen_while_it_is_held_and_no_longer(place: Path) -> None:
    assert not is_held(place)
    lock = WriterLock(place)
    lock.take()
    assert is_held(place)
    lock.give_back()
    assert not is_held(place)


def test_a_second_one_is_refused_and_told_who_has_it(place: Path) -> None:
    first = WriterLock(place)
    first.take()
    with pytest.raises(StoreError, match=r"another daemon is writing to this store \(process \d+\)"):
        WriterLock(place).take()
    first.give_back()
    WriterLock(place).take()


def test_whoever_only_looks_never_keeps_another_from_taking_it(place: Path) -> None:
    lock, enough = WriterLock(place), threading.Event()
    lock.take()
    lock.give_back()

    def look() -> None:
        while not enough.is_set():
            is_held(place)

    lookers = [threading.Thread(target=look) for _ in range(3)]
    for looker in lookers:
        looker.start()
    try:
        for _ in range(300):
            lock.take()
            lock.give_back()
    finally:
        enough.set()
        for looker in lookers:
            looker.join()


def test_a_lock_file_that_cannot_be_read_is_told(place: Path) -> None:
    Path(f"{place}.lock").symlink_to(f"{place.name}.lock")  # a loop: nobody can open it, not even root
    with pytest.raises(StoreError, match="cannot look at the lock file"):
        is_held(place)
