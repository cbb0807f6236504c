from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.store.batch import StampedBatch
from ingest.store.minutes import MinuteSummaries
from ingest.store.store import Store

FIELDS = ("minute", "n", "covered_ms", "mean_uvi", "min_uvi", "max_uvi", "u_uvi", "flags", "dose_uvi_h")
FIRST = 29_166_667  # minutes since the epoch, 7 minutes into an hour


def summaries(minutes: object, uvi: float = 2.5) -> MinuteSummaries:
    minute = np.array(minutes, np.int64)
    n = len(minute)
    return MinuteSummaries(
        minute=minute,
        n=np.full(n, 600),
        covered_ms=np.full(n, 60_000),
        mean_uvi=np.full(n, uvi),
        min_uvi=np.full(n, uvi - 0.5),
        max_uvi=np.full(n, uvi + 0.5),
        u_uvi=np.full(n, 0.25),
        flags=np.full(n, 1024, np.uint32),
        dose_uvi_h=np.full(n, uvi / 64),
    )


def everything(store: Store, spot: str = "ledge") -> dict[int, float]:
    found = store.minutes.between(spot, 0, 2**45)
    return dict(zip(found.minute.tolist(), found.mean_uvi.tolist(), strict=True))


def test_minutes_come_back_as_they_were_put(store: Store) -> None:
    rows = summaries(range(FIRST, FIRST + 150))
    store.minutes.replace("ledge", FIRST, FIRST + 150, rows)
    found = store.minutes.between("ledge", FIRST * 60_000, (FIRST + 150) * 60_000)
    for name in FIELDS:
        assert getattr(found, name).tolist() == getattr(rows, name).tolist()
        assert getattr(found, name).dtype == getattr(rows, name).dtype


def test_a_minute_without_a_value_stays_without(store: Store) -> None:
    rows = replace(summaries([FIRST]), mean_uvi=np.array([np.nan]))
    store.minutes.replace("ledge", FIRST, FIRST + 1, rows)
    assert np.isnan(store.minutes.between("ledge", 0, 2**45).mean_uvi).all()


def test_single_precision_is_all_that_is_lost(store: Store) -> None:
    store.minutes.replace("ledge", FIRST, FIRST + 1, summaries([FIRST], uvi=3.14159265))
    assert everything(store)[FIRST] == pytest.approx(3.14159265, rel=6e-8)


def test_minutes_of_another_spot_are_left_alone(store: Store) -> None:
    store.minutes.replace("ledge", FIRST, FIRST + 5, summaries(range(FIRST, FIRST + 5)))
    store.minutes.replace("log", FIRST, FIRST + 5, summaries(range(FIRST, FIRST + 5), uvi=9.0))
    store.minutes.replace("ledge", FIRST, FIRST + 5, summaries([]))
    assert everything(store) == {}
    assert len(everything(store, "log")) == 5
    assert everything(store, "never named") == {}


def test_rows_outside_what_they_replace_are_refused_and_nothing_changes(store: Store) -> None:
    store.minutes.replace("ledge", FIRST, FIRST + 1, summaries([FIRST]))
    with pytest.raises(ValueError, match="outside"):
        store.minutes.replace("ledge", FIRST, FIRST + 1, summaries([FIRST + 1]))
    with pytest.raises(ValueError, match="no minutes"):
        store.minutes.replace("ledge", FIRST, FIRST, summaries([]))
    assert list(everything(store)) == [FIRST]


def test_between_takes_minutes_that_begin_inside(store: Store) -> None:
    store.minutes.replace("ledge", FIRST, FIRST + 5, summaries(range(FIRST, FIRST + 5)))
    found = store.minutes.between("ledge", FIRST * 60_000 + 1, (FIRST + 3) * 60_000 + 1)
    assert found.minute.tolist() == [FIRST + 1, FIRST + 2, FIRST + 3]
    assert len(store.minutes.between("ledge", FIRST * 60_000 + 1, FIRST * 60_000 + 2)) == 0


@given(
    st.lists(
        st.tuples(st.integers(0, 200), st.integers(1, 130), st.sets(st.integers(0, 129))),
        min_size=1,
        max_size=6,
    )
)
def test_replacing_parts_is_like_a_dictionary(
    store_for_all_examples: Store, steps: list[tuple[int, int, set[int]]]
) -> None:
    store = store_for_all_examples
    store.minutes.replace("ledge", FIRST, FIRST + 400, summaries([]))
    model: dict[int, float] = {}
    for number, (start, length, inside) in enumerate(steps):
        first, end = FIRST + start, FIRST + start + length
        minutes = sorted(first + offset for offset in inside if offset < length)
        store.minutes.replace("ledge", first, end, summaries(minutes, uvi=float(number)))
        model = {minute: uvi for minute, uvi in model.items() if not first <= minute < end}
        model |= dict.fromkeys(minutes, float(number))
    assert everything(store) == dict(sorted(model.items()))


@pytest.fixture(scope="module")
def store_for_all_examples(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.open(tmp_path_factory.mktemp("minutes") / "baskline.db") as opened:
        yield opened


def test_appending_makes_its_minutes_dirty_until_they_are_cleaned(
    store: Store, make_batch: Callable[..., StampedBatch], noon_ms: int
) -> None:
    store.readings.append([make_batch(range(70)), make_batch([300])])
    assert [(span.board, span.from_ms, span.to_ms) for span in store.minutes.dirty()] == [
        ("fern-1", noon_ms, noon_ms + 120_000),
        ("fern-1", noon_ms + 300_000, noon_ms + 360_000),
    ]
    first, second = store.minutes.dirty()
    store.minutes.clean(replace(first, to_ms=noon_ms + 60_000))
    assert store.minutes.dirty() == [replace(first, from_ms=noon_ms + 60_000), second]
    store.readings.append([make_batch([5])])
    assert len(store.minutes.dirty()) == 2, "what the store had already makes nothing dirty"
    store.minutes.clean(store.minutes.dirty()[0])
    assert store.minutes.dirty() == [second]
    store.readings.append([make_batch([70])])
    assert store.minutes.dirty() == [replace(first, from_ms=noon_ms + 60_000), second]


def test_cleaning_an_unknown_board_is_nothing(store: Store, make_batch: Callable[..., StampedBatch]) -> None:
    store.readings.append([make_batch([0])])
    (span,) = store.minutes.dirty()
    store.minutes.clean(replace(span, board="nobody"))
    assert store.minutes.dirty() == [span]
