from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.calibration_file import format_calibration
from calibrate.samples import Flag, Samples
from ingest.history import History, joined
from ingest.store.errors import StoreError
from ingest.store.store import Store
from tests.ingest.rig import NOON_MS, Board, Rig, calibration


def series(*utc_ms: int) -> Samples:
    at = np.array(utc_ms, np.int64)
    return Samples(at, at / 1.0, np.full(len(at), 0.1), np.zeros(len(at), np.uint32))


@given(st.lists(st.lists(st.integers(0, 50), unique=True).map(sorted), max_size=6))
def test_parts_become_one_series_in_time_order_each_moment_once(parts: list[list[int]]) -> None:
    whole = joined([series(*part) for part in parts])
    assert whole.utc_ms.tolist() == sorted({at for part in parts for at in part})
    assert whole.uvi.tolist() == whole.utc_ms.tolist()


def test_of_two_samples_at_one_moment_the_first_part_stands() -> None:
    other = series(2)
    other.uvi[0] = 99
    assert joined([series(1, 2), other]).uvi.tolist() == [1, 2]


@pytest.fixture
def past(tmp_path: Path) -> Rig:
    """Ten minutes of a spot, then ten under another calibration."""
    rig = Rig(tmp_path / "s.db", Board(uvi=2.0))
    rig.start()
    rig.plug("rock-1")
    rig.run(600.5)
    rig.finish()
    rig.calibrations = {"ledge": calibration(0.006)}
    rig.start()
    rig.run(600)
    rig.finish()
    return rig


def test_each_reading_is_converted_by_what_applied_at_its_time(past: Rig) -> None:
    samples = past.samples()
    assert samples.uvi[:600] == pytest.approx(np.full(600, 2.0), abs=0.01)
    assert samples.uvi[600:] == pytest.approx(np.full(600, 4.0), abs=0.01)


def test_a_new_calibration_of_the_past_can_be_put_over_it_and_taken_back(past: Rig) -> None:
    third = calibration(0.0015)
    with Store.open(past.store_path) as store:
        store.calibrations.put(third.identity, format_calibration(third))
        generation = store.assignments.recalibrate("ledge", third.identity, 0)
        assert generation is not None
    assert past.samples().uvi == pytest.approx(np.full(1200, 1.0), abs=0.01)
    with Store.open(past.store_path) as store:
        store.assignments.withdraw(generation)
    assert past.samples().uvi[-1] == pytest.approx(4.0, abs=0.01)


def test_only_what_was_asked_for_is_returned(past: Rig) -> None:
    with past.look() as store:
        part = History(store).samples("ledge", NOON_MS + 10_000, NOON_MS + 20_000)
        assert part.utc_ms.tolist() == [NOON_MS + 1000 * at for at in range(10, 20)]
        assert len(History(store).samples("no-such-spot", 0, 1 << 52)) == 0


def test_a_batch_is_cut_where_the_assignment_changes(past: Rig) -> None:
    with past.look() as store:
        [batch] = store.readings.between("rock-1", 0, 1 << 52)
        parts = History(store).of_batch("ledge", batch)
    assert [len(part) for part, _ in parts] == [600, 600]
    assert [samples.uvi[0] for _, samples in parts] == pytest.approx([2.0, 4.0], abs=0.01)


def test_a_calibration_that_is_gone_from_the_store_is_said_and_not_guessed(past: Rig) -> None:
    with Store.open(past.store_path) as store:
        store._database.execute("DELETE FROM calibration")
        with pytest.raises(StoreError, match="is not in the store"):
            History(store).samples("ledge", 0, 1 << 52)


def test_a_spot_that_was_calibrated_later_has_no_value_before(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), calibrations={})
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    rig.finish()
    samples = rig.samples()
    assert (samples.flags == Flag.UNCALIBRATED).all()
