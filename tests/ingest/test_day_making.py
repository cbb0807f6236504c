"""A day's record made a little at a time."""

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest

from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.day_making import DayMaking
from ingest.day_records import DayRecord, DayRecords
from ingest.store.store import Store
from tests.ingest.nights import MIDNIGHT_MS, TODAY_MS, readings, steady
from tests.ingest.rig import HOUR_MS, TODAY, calibration, config


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s.db") as store:
        store.begin_run(Moment(0, TODAY_MS, True))
        record_assignments(store, config(), {"ledge": calibration()}, TODAY_MS)
        store.readings.append([readings(steady, TODAY_MS, MIDNIGHT_MS - HOUR_MS, step_ms=20_000)])
        yield store


def derived(store: Store) -> DayRecord:
    record = DayRecords(store, config()).derive("ledge", TODAY)
    assert record is not None
    return record


def test_a_day_of_very_many_readings_is_made_in_parts_and_is_the_same(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = derived(store)
    monkeypatch.setattr("ingest.day_samples.WHOLE_MOST", 100)
    in_parts = derived(store)
    assert asdict(in_parts.lamp) == pytest.approx(asdict(whole.lamp))
    for name, value in asdict(whole.profile).items():
        same = value if not isinstance(value, float) else pytest.approx(value, rel=1e-11)
        assert getattr(in_parts.profile, name) == same or name in {"bounds", "band", "gaps"}
    assert (in_parts.profile.bounds, in_parts.profile.gaps) == (whole.profile.bounds, whole.profile.gaps)


def test_the_sums_do_not_depend_on_how_the_readings_are_packed(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.day_samples.WHOLE_MOST", 100)
    before = derived(store)
    while store.readings.compact(MIDNIGHT_MS + 48 * HOUR_MS):
        pass
    assert derived(store) == before


def test_readings_that_come_while_a_day_is_made_are_in_it(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.day_samples.WHOLE_MOST", 100)
    making = DayMaking(DayRecords(store, config()), "ledge", TODAY)
    assert 0 < making.step(1_000) < 2_000
    assert not making.is_done
    store.readings.append([readings(steady, MIDNIGHT_MS - HOUR_MS, MIDNIGHT_MS, step_ms=20_000, boot=2)])
    while not making.is_done:
        making.step(1_000)
    assert making.record == derived(store)
    assert making.record is not None
    assert making.record.profile.coverage > 0.999


def test_readings_are_counted_to_the_millisecond_in_chunks_and_in_the_tail(store: Store) -> None:
    store.readings.append([readings(steady, MIDNIGHT_MS - HOUR_MS, MIDNIGHT_MS, step_ms=20_000, boot=2)])
    for from_ms, to_ms in (
        (0, 1 << 52),
        (TODAY_MS + 1, MIDNIGHT_MS - 1),
        (TODAY_MS, TODAY_MS + 20_000),
        (MIDNIGHT_MS - 2 * HOUR_MS + 7, MIDNIGHT_MS - 20_000),
        (MIDNIGHT_MS, MIDNIGHT_MS + 1),
    ):
        found = store.readings.between("rock-1", from_ms, to_ms)
        assert store.readings.count("rock-1", from_ms, to_ms) == sum(map(len, found))
    assert store.readings.count("nobody", 0, 1 << 52) == 0
