"""A day's record made a little at a time."""

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest

from exposure.lamp_days import LampDay
from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.day_making import DayMaking, LampMaking
from ingest.day_records import DayRecord, DayRecords
from ingest.days_before import DaysBefore
from ingest.record_upkeep import RecordUpkeep
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


def calibrated_anew(store: Store) -> LampDay:
    """Calibrate anew at noon and put the day on record; return what the lamp's day is by the new one."""
    records = DayRecords(store, config())
    record_assignments(store, config(), {"ledge": calibration(0.004)}, TODAY_MS + 12 * HOUR_MS)
    records.keep(derived(store))
    store.judged.set_through("ledge", MIDNIGHT_MS)
    [seen] = records.lamps("ledge", TODAY, TODAY)
    return seen.day


def test_a_lamps_day_by_a_new_calibration_is_made_in_parts_of_all_readings(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.day_samples.WHOLE_MOST", 100)
    calibrated_anew(store)
    records = DayRecords(store, config())
    making = LampMaking(records, "ledge", TODAY, TODAY)
    assert 0 < making.step(1_000) < 2_000
    assert not making.is_done
    store.readings.append([readings(steady, MIDNIGHT_MS - HOUR_MS, MIDNIGHT_MS, step_ms=20_000, boot=2)])
    while not making.is_done:
        making.step(1_000)
    assert making.record is not None
    records.keep(derived(store))
    records.keep_lamp(making.record)
    [seen] = records.lamps("ledge", TODAY, TODAY)
    assert records.unkept_lamps("ledge", TODAY, TODAY) == []
    store.days.remove("ledge", TODAY.isoformat())
    assert [seen.day] == [each.day for each in DayRecords(store, config()).lamps("ledge", TODAY, TODAY)]


@pytest.mark.parametrize("by", ["upkeep", "the night"])
def test_a_new_calibration_over_a_lamps_day_holds_nothing_up(
    store: Store, monkeypatch: pytest.MonkeyPatch, by: str
) -> None:
    monkeypatch.setattr("ingest.day_samples.WHOLE_MOST", 100)
    monkeypatch.setattr("ingest.record_upkeep._AT_ONCE", 500)
    monkeypatch.setattr("ingest.days_before._AT_ONCE", 500)
    by_the_new = calibrated_anew(store)
    records = DayRecords(store, config())
    upkeep, before = RecordUpkeep(store, config()), DaysBefore(store, config(), records)

    def step() -> bool:
        if by == "upkeep":
            return upkeep.step(MIDNIGHT_MS + HOUR_MS)
        return before.kept_some("ledge", TODAY)

    n_steps = 0
    while step():
        n_steps += 1
    assert n_steps >= 8  # of some 4,000 readings
    assert records.unkept_lamps("ledge", TODAY, TODAY) == []
    assert [by_the_new] == [each.day for each in records.lamps("ledge", TODAY, TODAY)]


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
