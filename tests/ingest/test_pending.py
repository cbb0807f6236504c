from itertools import accumulate

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ingest.pending import Pending, joined
from ingest.store.batch import StampedBatch


def batch(
    seqs: list[int], board: str = "rock-1", boot: str = "0000000a", channels: str = "u t"
) -> StampedBatch:
    names = tuple(channels.split())
    seq = np.array(seqs, np.int64)
    values = np.column_stack([seq + index / 10 for index in range(len(names))])
    return StampedBatch(board, boot, names, seq, 1_000 * seq, values, np.zeros(len(seq), np.uint32))


def test_batches_of_one_boot_with_the_same_channels_become_one() -> None:
    [whole] = joined([batch([0, 1]), batch([2]), batch([3, 4])])
    assert whole.seq.tolist() == [0, 1, 2, 3, 4]
    assert whole.utc_ms.tolist() == [0, 1000, 2000, 3000, 4000]
    assert whole.values[:, 1].tolist() == [0.1, 1.1, 2.1, 3.1, 4.1]


def test_other_boards_boots_and_channels_stay_apart_in_the_order_of_their_arrival() -> None:
    parts = [batch([5]), batch([0], boot="0000000b"), batch([1], board="moss-2"), batch([6], channels="u")]
    assert joined([*parts, batch([7])])[0].seq.tolist() == [5, 7]
    assert [(each.board, each.boot, each.channels) for each in joined(parts)] == [
        (each.board, each.boot, each.channels) for each in parts
    ]


def test_a_late_batch_finds_its_place() -> None:
    [whole] = joined([batch([10, 11]), batch([3, 4]), batch([12])])
    assert whole.seq.tolist() == [3, 4, 10, 11, 12]
    assert whole.utc_ms.tolist() == [3000, 4000, 10_000, 11_000, 12_000]


@given(st.lists(st.integers(1, 5), min_size=1, max_size=20), st.randoms())
def test_no_reading_is_lost_or_doubled_in_joining(sizes: list[int], order: object) -> None:
    ends = list(accumulate(sizes))
    parts = [batch(list(range(end - size, end))) for size, end in zip(sizes, ends, strict=True)]
    order.shuffle(parts)  # type: ignore[attr-defined]
    [whole] = joined(parts)
    assert whole.seq.tolist() == list(range(ends[-1]))
    assert whole.values[:, 0].tolist() == list(range(ends[-1]))


def test_what_waits_is_judged_once_and_stored_until_it_is() -> None:
    pending = Pending()
    pending.add_fresh(batch([0, 1]), 100)
    pending.add_fresh(batch([2]), 100)
    pending.add(batch([5], boot="0000000b"))
    assert pending.n_readings == 4
    assert [each.seq.tolist() for each in pending.to_judge()] == [[0, 1, 2]]
    assert pending.to_judge() == []
    for _ in range(2):  # a commit may fail and be tried again
        assert [each.seq.tolist() for each in pending.to_store()] == [[0, 1, 2], [5]]
    pending.stored()
    assert (pending.n_readings, pending.to_store()) == (0, [])


def test_a_boards_readings_are_judged_together_when_the_first_of_them_is_due() -> None:
    pending = Pending()
    pending.add_fresh(batch([0]), 1_000)
    pending.add_fresh(batch([1]), 1_900)
    pending.add_fresh(batch([0], board="moss-2"), 1_200)
    assert pending.to_judge(999) == []
    assert [each.seq.tolist() for each in pending.to_judge(1_000)] == [[0, 1]]
    pending.add_fresh(batch([2]), 2_900)
    assert [each.board for each in pending.to_judge(2_000)] == ["moss-2"]
    assert [each.seq.tolist() for each in pending.to_judge()] == [[2]]
