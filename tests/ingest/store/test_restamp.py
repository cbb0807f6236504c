from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.clock import Moment
from ingest.store.batch import CLOCK_UNSURE_MARK, StampedBatch
from ingest.store.store import Store

BatchMaker = Callable[..., StampedBatch]
YEAR_MS = 365 * 86_400_000
EVER_MS = 2**52


def times(store: Store) -> list[int]:
    return [int(at) for batch in store.readings.between("fern-1", 0, EVER_MS) for at in batch.utc_ms]


def marks(store: Store) -> list[int]:
    return [int(mark) for batch in store.readings.between("fern-1", 0, EVER_MS) for mark in batch.marks]


@pytest.fixture
def unsure(store_path: Path, make_batch: BatchMaker, noon_ms: int) -> Store:
    """A store in which run 1 stamped seconds 0 to 9 with an unset clock, and run 2 goes on now."""
    store = Store.open(store_path)
    store.begin_run(Moment(0, noon_ms, False))
    store.readings.append([make_batch(range(10), marks=CLOCK_UNSURE_MARK | 1)])
    store.close()
    store = Store.open(store_path)
    store.begin_run(Moment(0, noon_ms + 60_000, True))
    store.readings.append([make_batch(range(60, 70))])
    return store


@pytest.mark.parametrize("packed", [False, True])
def test_restamping_moves_one_run_and_no_other(unsure: Store, noon_ms: int, packed: bool) -> None:
    with unsure as store:
        while packed and store.readings.compact(noon_ms):
            pass
        store.readings.restamp(1, -30_000, clock_sure=True)
        assert times(store) == [noon_ms - 30_000 + 1000 * n for n in range(10)] + [
            noon_ms + 1000 * n for n in range(60, 70)
        ]
        assert marks(store) == [1] * 10 + [0] * 10
        assert store.readings.extent("fern-1") == (noon_ms - 30_000, noon_ms + 69_000)


def test_restamping_twice_adds_up_and_back_again_is_nothing(unsure: Store, noon_ms: int) -> None:
    with unsure as store:
        before = times(store)
        store.readings.restamp(1, YEAR_MS, clock_sure=False)
        store.readings.restamp(1, 500, clock_sure=False)
        assert times(store)[-10:] == [at + YEAR_MS + 500 for at in before[:10]]
        store.readings.restamp(1, -YEAR_MS - 500, clock_sure=False)
        assert times(store) == before
        assert marks(store)[:10] == [CLOCK_UNSURE_MARK | 1] * 10


def test_restamped_readings_are_found_at_their_new_time_only(unsure: Store, noon_ms: int) -> None:
    with unsure as store:
        while store.readings.compact(noon_ms):
            pass
        store.readings.restamp(1, YEAR_MS, clock_sure=True)
        assert store.readings.between("fern-1", noon_ms, noon_ms + 20_000) == []
        (batch,) = store.readings.between("fern-1", noon_ms + YEAR_MS, noon_ms + YEAR_MS + 20_000)
        assert batch.seq.tolist() == list(range(10))


def test_a_run_goes_on_after_it_was_restamped(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    store.readings.append([make_batch(range(3), marks=CLOCK_UNSURE_MARK)])
    store.readings.restamp(1, 7_000_000, clock_sure=True)
    store.readings.append([make_batch(range(3, 6), start_ms=noon_ms + 7_000_000)])
    store.readings.append([make_batch(range(6, 8), start_ms=noon_ms + 7_000_000, marks=CLOCK_UNSURE_MARK)])
    expected_times = [noon_ms + 7_000_000 + 1000 * n for n in range(8)]
    expected_marks = [0] * 6 + [CLOCK_UNSURE_MARK] * 2
    assert (times(store), marks(store)) == (expected_times, expected_marks)
    while store.readings.compact(noon_ms) or store.readings.compact(noon_ms + 3_600_000):
        pass
    assert store._database.rows("SELECT n FROM chunk") == [(8,)]
    assert (times(store), marks(store)) == (expected_times, expected_marks)


def test_minutes_at_the_old_and_the_new_time_become_dirty(unsure: Store, noon_ms: int) -> None:
    with unsure as store:
        for span in store.minutes.dirty():
            store.minutes.clean(span)
        store.readings.restamp(1, YEAR_MS, clock_sure=True)
        assert [(span.board, span.from_ms, span.to_ms) for span in store.minutes.dirty()] == [
            ("fern-1", noon_ms, noon_ms + 60_000),
            ("fern-1", noon_ms + YEAR_MS, noon_ms + YEAR_MS + 60_000),
        ]


def test_mirrors_get_restamped_readings_again(unsure: Store, noon_ms: int) -> None:
    with unsure as store:
        _, end = store.readings.since(0, 10**9)
        store.cursors.set("cloud", end)
        store.cursors.set("fresh", 0)
        store.readings.restamp(1, 5000, clock_sure=True)
        assert store.cursors.get("fresh") == 0
        batches, again = store.readings.since(store.cursors.get("cloud"), 10**9)
        assert again == end
        assert int(batches[0].utc_ms[0]) == noon_ms + 5000


def test_another_process_reads_the_new_times_at_once(unsure: Store, store_path: Path, noon_ms: int) -> None:
    with unsure as store, Store.open(store_path, read_only=True) as reader:
        assert times(reader)[0] == noon_ms
        store.readings.restamp(1, 5000, clock_sure=True)
        assert times(reader)[0] == noon_ms + 5000


def test_restamping_a_run_that_never_was_is_refused_and_changes_nothing(unsure: Store) -> None:
    with unsure as store:
        before = times(store)
        with pytest.raises(LookupError):
            store.readings.restamp(99, 5000, clock_sure=True)
        assert times(store) == before
