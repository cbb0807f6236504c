from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.gaps import MAX_GAPS, MAX_RANGES, MAX_TRIES, Gaps, SeqRange, SeqSet

ranges = st.tuples(st.integers(0, 120), st.integers(0, 20)).map(lambda pair: (pair[0], pair[0] + pair[1]))


def as_plain_set(pairs: list[tuple[int, int]]) -> set[int]:
    return {seq for first, last in pairs for seq in range(first, last + 1)}


@given(st.lists(ranges, max_size=40), ranges)
def test_a_seq_set_agrees_with_a_plain_set(pairs: list[tuple[int, int]], window: tuple[int, int]) -> None:
    seqs, plain = SeqSet(pairs), as_plain_set(pairs)
    assert as_plain_set(list(seqs.ranges)) == plain
    assert all(a.last_seq + 1 < b.first_seq for a, b in pairwise(seqs.ranges))
    assert as_plain_set(list(seqs.missing(*window))) == set(range(window[0], window[1] + 1)) - plain
    assert seqs.first == min(plain, default=None)
    assert seqs.end == max(plain, default=-1) + 1
    asked = np.arange(0, 150)
    assert seqs.contains(asked).tolist() == [seq in plain for seq in range(150)]


@given(st.lists(ranges, max_size=10), st.sets(st.integers(0, 150), max_size=60))
def test_adding_an_array_is_adding_its_members(pairs: list[tuple[int, int]], members: set[int]) -> None:
    seqs = SeqSet(pairs)
    seqs.add_all(np.array(sorted(members), dtype=np.int64))
    assert as_plain_set(list(seqs.ranges)) == as_plain_set(pairs) | members


def test_a_seq_set_stays_bounded_by_closing_its_oldest_holes() -> None:
    seqs = SeqSet((seq, seq) for seq in range(0, 4 * MAX_RANGES, 2))
    assert len(seqs.ranges) == MAX_RANGES
    assert seqs.ranges[0] == SeqRange(0, 2 * MAX_RANGES)
    assert seqs.end == 4 * MAX_RANGES - 1


def test_a_range_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="no range"):
        SeqSet([(5, 4)])


def test_the_newest_gap_is_asked_for_first_and_in_portions() -> None:
    gaps = Gaps()
    gaps.note(SeqRange(10, 500))
    gaps.note(SeqRange(600, 601))
    assert gaps.to_ask(200) == (600, 601)
    gaps.fill(SeqSet([(600, 601)]))
    assert gaps.to_ask(200) == (10, 209)
    gaps.fill(SeqSet([(10, 209)]))
    assert gaps.to_ask(200) == (210, 409)


def test_a_gap_is_given_up_after_three_tries_and_only_where_it_is_still_open() -> None:
    gaps = Gaps()
    gaps.note(SeqRange(10, 19))
    assert gaps.tried(SeqRange(10, 14)) == []
    gaps.fill(SeqSet([(12, 12)]))
    assert gaps.tried(SeqRange(10, 14)) == []
    assert gaps.tried(SeqRange(10, 14)) == [(10, 11), (13, 14)]
    assert gaps.first_from(0) == 15
    assert MAX_TRIES == 3


def test_what_the_board_no_longer_has_is_forgotten_at_once() -> None:
    gaps = Gaps()
    gaps.note(SeqRange(10, 19))
    assert gaps.forget(SeqRange(0, 13)) == [(10, 13)]
    assert gaps.to_ask(100) == (14, 19)
    assert gaps.forget(SeqRange(14, 19)) == [(14, 19)]
    assert gaps.to_ask(100) is None


def test_the_first_seq_that_may_still_come_is_known() -> None:
    gaps = Gaps()
    assert gaps.first_from(0) is None
    gaps.note(SeqRange(10, 19))
    assert [gaps.first_from(seq) for seq in (0, 10, 15, 19, 20)] == [10, 10, 15, 19, None]


def test_too_many_gaps_give_up_the_oldest() -> None:
    gaps = Gaps()
    given_up = [lost for seq in range(0, 4 * MAX_GAPS, 2) for lost in gaps.note(SeqRange(seq, seq))]
    assert given_up == [(seq, seq) for seq in range(0, 2 * MAX_GAPS, 2)]


@given(st.lists(ranges, max_size=8), st.lists(ranges, max_size=8))
def test_gaps_and_what_was_given_up_add_up(
    noted: list[tuple[int, int]], tried: list[tuple[int, int]]
) -> None:
    disjoint = SeqSet(noted).ranges
    gaps = Gaps()
    for gap in disjoint:
        assert gaps.note(gap) == []
    given_up: set[int] = set()
    for where in tried:
        given_up |= as_plain_set(list(gaps.tried(SeqRange(*where))))
    left: set[int] = set()
    while (portion := gaps.to_ask(7)) is not None:
        left |= as_plain_set([portion])
        gaps.forget(portion)
    assert left | given_up == as_plain_set(list(disjoint))
    assert not left & given_up
