from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firmware_host.clock import Moment
from ingest.store.batch import StampedBatch
from ingest.store.errors import StoreError
from ingest.store.readings import CHUNK_AT_ONCE
from ingest.store.rows import MOST_IN_CHUNK, StoredRow
from ingest.store.store import Store

BatchMaker = Callable[..., StampedBatch]
DAY_MS = 86_400_000
EVER_MS = 2**52


def compact_all(store: Store, now_ms: int) -> None:
    """Pack everything, as time would."""
    for later_ms in (0, 3_600_000):
        while store.readings.compact(now_ms + later_ms):
            pass


def append_and_fail(store: Store, *batches: StampedBatch) -> None:
    with store.transaction():
        store.readings.append(batches)
        raise KeyError


def seqs(batches: list[StampedBatch]) -> list[int]:
    return [int(number) for batch in batches for number in batch.seq]


def chunks(store: Store) -> list[int]:
    return [n for (n,) in store._database.rows("SELECT n FROM chunk ORDER BY last_batch")]


def test_what_is_appended_comes_back_whole(store: Store, make_batch: BatchMaker) -> None:
    batch = replace(make_batch(range(5)), marks=np.array([0, 1, 2, 4, 1 << 16], np.uint32))
    assert store.readings.append([batch]) == [batch]
    (found,) = store.readings.between("fern-1", 0, EVER_MS)
    assert (found.board, found.boot, found.channels) == (batch.board, batch.boot, batch.channels)
    for name in ("seq", "utc_ms", "values", "marks"):
        assert getattr(found, name).tolist() == getattr(batch, name).tolist()


def test_a_reading_is_kept_once_however_often_it_comes(store: Store, make_batch: BatchMaker) -> None:
    store.readings.append([make_batch(range(10))])
    assert store.readings.append([make_batch(range(10))]) == []
    assert seqs(store.readings.append([make_batch(range(5, 15))])) == [10, 11, 12, 13, 14]
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == list(range(15))


def test_doubles_within_one_call_are_kept_once(store: Store, make_batch: BatchMaker) -> None:
    new = store.readings.append([make_batch([3, 4, 4, 5]), make_batch([5, 6]), make_batch([6, 3])])
    assert seqs(new) == [3, 4, 5, 6]
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(3, 6)]


def test_a_gap_is_filled_later_in_its_place(store: Store, make_batch: BatchMaker) -> None:
    store.readings.append([make_batch([0, 1, 2, 7, 8])])
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, 2), (7, 8)]
    assert seqs(store.readings.append([make_batch(range(9))])) == [3, 4, 5, 6]
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, 8)]
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == list(range(9))


def test_the_same_number_of_another_boot_or_board_is_another_reading(
    store: Store, make_batch: BatchMaker
) -> None:
    batches = [make_batch([0]), make_batch([0], boot="ffffffff"), make_batch([0], board="moss-2")]
    assert store.readings.append(batches) == batches


def test_an_unknown_board_has_nothing(store: Store) -> None:
    assert store.readings.between("nobody", 0, EVER_MS) == []
    assert store.readings.seen("nobody", "00000000") == []
    assert store.readings.last_utc_ms("nobody") is None
    assert store.readings.last_utc_ms_any() is None


def test_last_times_come_from_tail_and_chunks(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    store.readings.append([make_batch(range(4)), make_batch([9], board="moss-2")])
    assert store.readings.last_utc_ms("fern-1") == noon_ms + 3000
    compact_all(store, noon_ms)
    assert store.readings.last_utc_ms("fern-1") == noon_ms + 3000
    assert store.readings.extent("fern-1") == (noon_ms, noon_ms + 3000)
    assert store.readings.last_utc_ms_any() == noon_ms + 9000


def test_between_takes_its_beginning_and_not_its_end(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    store.readings.append([make_batch(range(10))])
    for _ in range(2):
        assert seqs(store.readings.between("fern-1", noon_ms + 2000, noon_ms + 5000)) == [2, 3, 4]
        assert seqs(store.readings.between("fern-1", noon_ms + 9000, EVER_MS)) == [9]
        assert seqs(store.readings.between("fern-1", 0, noon_ms)) == []
        compact_all(store, noon_ms)


def test_a_long_chunk_is_found_from_its_middle(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    hourly = make_batch(range(60))
    hourly = replace(hourly, utc_ms=noon_ms + hourly.seq * 3_600_000)
    store.readings.append([hourly])
    for _ in range(2):
        found = store.readings.between("fern-1", noon_ms + 20 * 3_600_000, noon_ms + 22 * 3_600_000)
        assert seqs(found) == [20, 21]
        compact_all(store, noon_ms)
    assert all(n <= 25 for n in chunks(store))


def test_large_batches_go_straight_into_chunks(store: Store, make_batch: BatchMaker) -> None:
    store.readings.append([make_batch(range(20_000))])
    assert sum(chunks(store)) == 20_000
    assert max(chunks(store)) <= MOST_IN_CHUNK
    assert store.readings.append([make_batch(range(19_990, 20_000))]) == []


def test_compaction_changes_nothing_that_can_be_read(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    boards = [f"fern-{number}" for number in range(5)]
    for start in range(0, 300, 3):
        store.readings.append([make_batch(range(start, start + 3), board=board) for board in boards])
    before = [store.readings.between(board, 0, EVER_MS) for board in boards]
    compact_all(store, noon_ms)
    assert store._database.rows("SELECT * FROM tail") == []
    assert chunks(store) == [300] * 5
    for board, old in zip(boards, before, strict=True):
        (new,) = store.readings.between(board, 0, EVER_MS)
        assert new.values.tolist() == old[0].values.tolist()
        assert new.utc_ms.tolist() == old[0].utc_ms.tolist()
        assert store.readings.append([make_batch(range(300), board=board)]) == []


def test_many_small_rounds_make_few_large_chunks(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    now_ms = noon_ms
    for start in range(0, 12_000, 100):
        store.readings.append([make_batch(range(start, start + 100))])
        now_ms += 16 * 60_000
        while store.readings.compact(now_ms):
            pass
    assert sum(chunks(store)) == 12_000
    assert len(chunks(store)) <= 6


def test_an_idle_compaction_writes_nothing(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    store.readings.compact(noon_ms)
    store.readings.append([make_batch(range(10))])
    changes = store._database._connection.total_changes
    assert not store.readings.compact(noon_ms + 1000)
    assert not store.readings.compact(noon_ms + 2000)
    assert store._database._connection.total_changes == changes


def test_a_clock_that_jumps_back_does_not_stop_compaction(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    store.readings.compact(noon_ms)
    store.readings.append([make_batch(range(10))])
    store.readings.compact(noon_ms)
    store.readings.compact(noon_ms - DAY_MS)
    while store.readings.compact(noon_ms - DAY_MS + 16 * 60_000):
        pass
    assert chunks(store) == [10]


def test_a_board_that_reports_fewer_channels_at_times_loses_none(
    store: Store, make_batch: BatchMaker
) -> None:
    full = make_batch([0, 2])
    part = replace(make_batch([1, 3]), channels=("uva_counts",), values=np.array([[1.5], [3.5]]))
    none = replace(make_batch([4]), channels=(), values=np.empty((1, 0)))
    store.readings.append([full, part, none])
    found = store.readings.between("fern-1", 0, EVER_MS)
    assert [(batch.channels, batch.seq.tolist()) for batch in found] == [
        (full.channels, [0, 2]),
        (part.channels, [1, 3]),
        ((), [4]),
    ]
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, 4)]


def test_other_integer_types_are_stored_right(store: Store, make_batch: BatchMaker) -> None:
    batch = make_batch(range(3))
    small = replace(batch, seq=batch.seq.astype(np.int32), marks=batch.marks.astype(np.int64))
    store.readings.append([small])
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == [0, 1, 2]


def test_a_transaction_that_fails_leaves_no_trace(store: Store, make_batch: BatchMaker, noon_ms: int) -> None:
    store.readings.append([make_batch(range(5))])
    with pytest.raises(KeyError):
        append_and_fail(store, make_batch(range(5, 2000)), make_batch([0], board="new-board"))
    assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, 4)]
    assert store.boards.get("new-board") is None
    assert store.readings.position() == 1
    assert seqs(store.readings.append([make_batch(range(8))])) == [5, 6, 7]
    assert seqs(store.readings.append([make_batch([0], board="new-board")])) == [0]
    assert len(store.minutes.dirty()) == 2


def test_a_part_that_fails_leaves_the_rest_of_its_transaction(store: Store, make_batch: BatchMaker) -> None:
    with store.transaction():
        store.readings.append([make_batch([0, 1])])
        with pytest.raises(KeyError):
            append_and_fail(store, make_batch([2, 3]))
        assert seqs(store.readings.append([make_batch([1, 2])])) == [2]
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == [0, 1, 2]


def test_appending_without_a_run_is_a_programming_error(store_path: Path, make_batch: BatchMaker) -> None:
    with Store.open(store_path) as store, pytest.raises(RuntimeError, match="begin_run"):
        store.readings.append([make_batch([0])])


def test_packing_that_is_undone_with_its_readings_forgets_them(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    def append_pack_and_fail() -> None:
        with store.transaction():
            store.readings.append([make_batch([0], board=f"board-{number}") for number in range(60)])
            assert store.readings.compact(noon_ms), "or this test is about nothing"
            raise KeyError

    with pytest.raises(KeyError):
        append_pack_and_fail()
    for number in range(5):
        store.readings.append([make_batch([number])])
        store.readings.compact(noon_ms)
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == list(range(5))


def test_a_batch_whose_parts_do_not_fit_cannot_be_made(make_batch: BatchMaker) -> None:
    with pytest.raises(ValueError, match="different lengths"):
        replace(make_batch(range(3)), marks=np.zeros(2, np.uint32))
    with pytest.raises(ValueError, match="shape"):
        replace(make_batch(range(3)), channels=("uva_counts",))


def test_opening_again_goes_on_where_it_stopped(
    store_path: Path, make_batch: BatchMaker, moment: Moment, noon_ms: int
) -> None:
    for start in range(0, 50, 10):
        with Store.open(store_path) as store:
            store.begin_run(moment)
            assert seqs(store.readings.append([make_batch(range(start + 10))])) == list(
                range(start, start + 10)
            )
            if start == 20:
                compact_all(store, noon_ms)
    with Store.open(store_path, read_only=True) as store:
        assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == list(range(50))
        assert store.readings.seen("fern-1", "0a1b2c3d") == [(0, 49)]


def test_since_gives_everything_once_when_nothing_is_packed(store: Store, make_batch: BatchMaker) -> None:
    for start in range(0, 50, 5):
        store.readings.append([make_batch(range(start, start + 5))])
    position, got = 0, []
    while True:
        batches, position = store.readings.since(position, 12)
        if not batches:
            break
        assert 12 <= len(seqs(batches)) <= 16 or seqs(batches)[-1] == 49
        got += seqs(batches)
    assert got == list(range(50))
    assert position == store.readings.position()


def test_since_never_leaves_out_what_packing_moves(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    boards = ["a", "b", "c"]
    got: dict[str, set[int]] = {board: set() for board in boards}
    position, now_ms = 0, noon_ms
    for start in range(0, 600, 4):
        store.readings.append([make_batch(range(start, start + 4), board=board) for board in boards])
        now_ms += 5 * 60_000
        store.readings.compact(now_ms)
        batches, position = store.readings.since(position, 10)
        for batch in batches:
            got[batch.board].update(batch.seq.tolist())
    while batches:
        batches, position = store.readings.since(position, 10)
        for batch in batches:
            got[batch.board].update(batch.seq.tolist())
    assert got == {board: set(range(600)) for board in boards}


def test_a_damaged_chunk_hides_only_itself(
    store: Store, make_batch: BatchMaker, noon_ms: int, caplog: pytest.LogCaptureFixture
) -> None:
    store.readings.append([make_batch(range(CHUNK_AT_ONCE))])
    store.readings.append([make_batch(range(CHUNK_AT_ONCE, 2 * CHUNK_AT_ONCE))])
    store.readings.append([make_batch(range(2 * CHUNK_AT_ONCE, 2 * CHUNK_AT_ONCE + 5))])
    store._database.execute("UPDATE chunk SET data = substr(data, 1, 30) WHERE last_batch = 2")
    rest = [*range(CHUNK_AT_ONCE), *range(2 * CHUNK_AT_ONCE, 2 * CHUNK_AT_ONCE + 5)]
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == rest
    assert "damaged: board fern-1, batch 2" in caplog.text
    compact_all(store, noon_ms)
    assert seqs(store.readings.since(0, 10**9)[0]) == rest
    assert store._database.row("SELECT n FROM chunk WHERE last_batch = 2") == (CHUNK_AT_ONCE,)


def test_a_damaged_row_of_the_tail_hides_only_itself(store: Store, make_batch: BatchMaker) -> None:
    for number in range(5):
        store.readings.append([make_batch([number])])
    store._database.execute("UPDATE tail SET data = substr(data, 1, 30) WHERE batch_id = 2")
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == [0, 2, 3, 4]


def test_a_packing_step_that_fails_loses_nothing(
    store: Store, make_batch: BatchMaker, noon_ms: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    boards = ["a", "b", "c"]
    store.readings.append([make_batch(range(900), board=board) for board in boards])
    real, written = store.readings._rows.write_chunk, []

    def write_until_the_disk_is_full(row: StoredRow) -> None:
        if len(written) == 1:
            raise StoreError("the disk is full")
        written.append(row)
        real(row)

    with monkeypatch.context() as patched:
        patched.setattr(store.readings._rows, "write_chunk", write_until_the_disk_is_full)
        with pytest.raises(StoreError):
            compact_all(store, noon_ms)
    for board in boards:
        assert seqs(store.readings.between(board, 0, EVER_MS)) == list(range(900))
    compact_all(store, noon_ms)
    assert chunks(store) == [900] * 3
    for board in boards:
        assert seqs(store.readings.between(board, 0, EVER_MS)) == list(range(900))
        assert store.readings.append([make_batch(range(900), board=board)]) == []


def test_what_an_earlier_process_left_is_packed_at_once(
    store_path: Path, make_batch: BatchMaker, moment: Moment, noon_ms: int
) -> None:
    with Store.open(store_path) as store:
        store.begin_run(moment)
        store.readings.append([make_batch(range(10))])
    with Store.open(store_path) as store:
        store.begin_run(moment)
        while store.readings.compact(noon_ms):
            pass
        assert chunks(store) == [10]


def test_old_chunks_are_forgotten_once_their_minutes_are_summarised(
    store: Store, make_batch: BatchMaker, noon_ms: int
) -> None:
    for start in range(0, 6000, 2000):
        store.readings.append([make_batch(range(start, start + 2000))])
    limit_ms = noon_ms + 4000_000
    assert store.readings.forget_before(limit_ms) == 0
    (span,) = store.minutes.dirty()
    store.minutes.clean(replace(span, to_ms=span.from_ms + 3600_000))
    assert store.readings.forget_before(limit_ms) == 1
    assert seqs(store.readings.between("fern-1", 0, EVER_MS)) == list(range(2000, 6000))
    assert store.readings.append([make_batch(range(2000))]) == [], "forgotten is not the same as never seen"


def test_forgetting_everything_never_gives_a_number_twice(
    store_path: Path, make_batch: BatchMaker, moment: Moment, noon_ms: int
) -> None:
    with Store.open(store_path) as store:
        store.begin_run(moment)
        for start in range(0, 6000, 2000):
            store.readings.append([make_batch(range(start, start + 2000))])
        _, position = store.readings.since(0, 10**9)
        for span in store.minutes.dirty():
            store.minutes.clean(span)
        store.readings.forget_before(noon_ms + 30 * DAY_MS)
    with Store.open(store_path) as store:
        store.begin_run(moment)
        store.readings.append([make_batch(range(6000, 6005))])
        batches, _ = store.readings.since(position, 10**9)
        assert seqs(batches) == list(range(6000, 6005))
