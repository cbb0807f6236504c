from collections.abc import Callable
from dataclasses import replace

import pytest

from ingest.store.assignments import Assignment
from ingest.store.batch import StampedBatch
from ingest.store.errors import StoreError
from ingest.store.store import Store

FIRST = Assignment(
    spot="ledge", board="fern-1", sensor="a", calibration="cal-1", lamp_kind="t5", band='{"zone": 3}'
)
SECOND = replace(FIRST, lamp_kind="halide")
THIRD = replace(SECOND, calibration="cal-2")


def told(store: Store, from_ms: int = 0, to_ms: int = 1000) -> list[tuple[int, int, Assignment]]:
    return [
        (span.from_ms, span.to_ms, span.assignment)
        for span in store.assignments.timeline("ledge", from_ms, to_ms)
    ]


def test_each_assignment_holds_until_the_next(store: Store) -> None:
    store.assignments.record(FIRST, 100)
    store.assignments.record(SECOND, 300)
    assert told(store) == [(100, 300, FIRST), (300, 1000, SECOND)]
    assert told(store, 150, 200) == [(150, 200, FIRST)]
    assert told(store, 0, 100) == []


def test_recording_what_already_holds_adds_nothing(store: Store) -> None:
    assert store.assignments.record(FIRST, 100) == 1
    assert store.assignments.record(FIRST, 500) is None
    assert store.assignments.record(FIRST, 50) == 2, "it did not hold before"
    assert len(store.assignments.history("ledge")) == 2


def test_an_assignment_with_an_end_gives_back_what_was_under_it(store: Store) -> None:
    store.assignments.record(FIRST, 100)
    store.assignments.record(SECOND, 200, to_ms=300)
    assert told(store) == [(100, 200, FIRST), (200, 300, SECOND), (300, 1000, FIRST)]


def test_recalibrating_keeps_everything_else_as_it_was(store: Store) -> None:
    store.assignments.record(FIRST, 100)
    store.assignments.record(SECOND, 300)
    store.assignments.recalibrate("ledge", "cal-2", 200, reason="meter came back from its check")
    assert told(store) == [
        (100, 200, FIRST),
        (200, 300, replace(FIRST, calibration="cal-2")),
        (300, 1000, THIRD),
    ]
    assert told(store, 10**12, 10**12 + 1) == [(10**12, 10**12 + 1, THIRD)]


def test_recalibrating_can_be_withdrawn_and_stays_on_record(store: Store) -> None:
    store.assignments.record(FIRST, 100)
    store.assignments.record(SECOND, 300)
    before = told(store)
    generation = store.assignments.recalibrate("ledge", "cal-2", 200, to_ms=400, reason="a trial")
    assert generation is not None
    assert told(store) != before
    store.assignments.withdraw(generation)
    assert told(store) == before
    withdrawn = [record for record in store.assignments.history("ledge") if record.withdrawn]
    assert [(record.from_ms, record.to_ms, record.reason) for record in withdrawn] == [
        (200, 300, "a trial"),
        (300, 400, "a trial"),
    ]


def test_recalibrating_with_the_same_calibration_or_nothing_assigned_adds_nothing(store: Store) -> None:
    store.assignments.record(FIRST, 100)
    assert store.assignments.recalibrate("ledge", "cal-1", 0) is None
    assert store.assignments.recalibrate("nowhere", "cal-1", 0) is None


def test_withdrawing_twice_is_refused(store: Store) -> None:
    generation = store.assignments.record(FIRST, 100)
    assert generation is not None
    store.assignments.withdraw(generation)
    with pytest.raises(StoreError, match="no generation 1"):
        store.assignments.withdraw(generation)


def test_spots_are_those_that_were_ever_assigned(store: Store) -> None:
    store.assignments.record(replace(FIRST, spot="log"), 0)
    store.assignments.record(FIRST, 0)
    assert store.assignments.spots() == ["ledge", "log"]


def test_a_change_of_the_past_makes_the_readings_under_it_dirty(
    store: Store, make_batch: Callable[..., StampedBatch], noon_ms: int
) -> None:
    store.readings.append([make_batch(range(600)), make_batch(range(600), board="moss-2")])
    store.assignments.record(FIRST, 0)

    def dirty_since(minute: int, *boards: str) -> bool:
        spans = store.minutes.dirty()
        for span in spans:
            store.minutes.clean(span)
        expected = [(board, noon_ms + minute * 60_000, noon_ms + 600_000) for board in boards]
        return [(span.board, span.from_ms, span.to_ms) for span in spans] == expected

    assert dirty_since(0, "fern-1", "moss-2")
    generation = store.assignments.recalibrate("ledge", "cal-2", noon_ms + 120_000)
    assert dirty_since(2, "fern-1")
    assert generation is not None
    store.assignments.withdraw(generation)
    assert dirty_since(2, "fern-1")
    store.assignments.record(replace(FIRST, board="moss-2"), noon_ms + 300_000)
    assert dirty_since(5, "fern-1", "moss-2")
    store.assignments.record(SECOND, noon_ms + 10**9)
    assert store.minutes.dirty() == [], "no reading is under it yet"


def test_calibrations_are_kept_word_for_word(store: Store) -> None:
    store.calibrations.put("cal-2", "gain = 0.01\n")
    store.calibrations.put("cal-1", "# ±\n")
    store.calibrations.put("cal-2", "gain = 0.01\n")
    assert store.calibrations.get("cal-1") == "# ±\n"
    assert store.calibrations.get("cal-3") is None
    assert store.calibrations.identities() == ["cal-1", "cal-2"]


def test_another_text_under_a_known_identity_is_refused(store: Store) -> None:
    store.calibrations.put("cal-1", "gain = 0.01\n")
    with pytest.raises(StoreError, match="cal-1"):
        store.calibrations.put("cal-1", "gain = 0.02\n")
    assert store.calibrations.get("cal-1") == "gain = 0.01\n"
