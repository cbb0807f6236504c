from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.store.database import Database
from ingest.store.intervals import IntervalTable, intervals_of, merged, outside

pairs = st.tuples(st.integers(0, 60), st.integers(0, 12)).map(lambda pair: (pair[0], pair[0] + pair[1]))


def _members(intervals: list[tuple[int, int]]) -> set[int]:
    return {number for first, last in intervals for number in range(first, last + 1)}


@given(st.lists(pairs))
def test_merging_keeps_the_numbers_and_leaves_no_neighbours(intervals: list[tuple[int, int]]) -> None:
    result = merged(intervals)
    assert _members(result) == _members(intervals)
    assert all(last + 1 < first for (_, last), (first, _) in pairwise(result))


@given(st.sets(st.integers(-50, 50)))
def test_numbers_become_intervals_and_back(numbers: set[int]) -> None:
    found = intervals_of(np.array(sorted(numbers), np.int64))
    assert _members(found) == numbers
    assert found == merged(found)


@given(st.lists(st.integers(-5, 80)), st.lists(pairs))
def test_outside_is_what_no_interval_holds(numbers: list[int], intervals: list[tuple[int, int]]) -> None:
    found = outside(np.array(numbers, np.int64), merged(intervals))
    assert found.tolist() == [number not in _members(intervals) for number in numbers]


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    opened = Database.connect(tmp_path_factory.mktemp("intervals") / "sets.db", read_only=False)
    yield opened
    opened.close()


@given(st.lists(st.tuples(st.booleans(), pairs)))
def test_a_table_of_intervals_is_a_set(database: Database, steps: list[tuple[bool, tuple[int, int]]]) -> None:
    database.execute("CREATE TEMP TABLE numbers (owner, first, last, PRIMARY KEY (owner, first))")
    try:
        table = IntervalTable(database, "numbers")
        table.add(2, 0, 100)  # another's
        model: set[int] = set()
        for adds, (first, last) in steps:
            if adds:
                whole = table.add(1, first, last)
                model |= _members([(first, last)])
                assert whole in table.all(1)
                assert whole[0] <= first <= last <= whole[1]
            else:
                table.remove(1, first, last)
                model -= _members([(first, last)])
            assert table.all(1) == intervals_of(np.array(sorted(model), np.int64))
            touching = table.touching(1, first, last)
            assert touching == [i for i in table.all(1) if i[0] <= last and i[1] >= first]
        assert table.all(2) == [(0, 100)]
    finally:
        database.execute("DROP TABLE numbers")
