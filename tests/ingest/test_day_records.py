"""What is kept of a day is what its readings say, whatever has come, moved or been put right meanwhile."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calibrate.calibration import Calibration
from calibrate.calibration_file import format_calibration
from firmware_host.clock import Moment
from ingest.assigning import record_assignments
from ingest.config import Config
from ingest.day_records import DayRecord, DayRecords
from ingest.lamp_views import lamp_view
from ingest.nightly import Nightly
from ingest.record_upkeep import RecordUpkeep
from ingest.store.lamp_changes import LampChangeKind
from ingest.store.store import Store
from ingest.summaries import Summariser
from tests.ingest.nights import DAY_MS, MIDNIGHT_MS, TODAY_MS, readings, steady
from tests.ingest.rig import CONFIG, HOUR_MS, TODAY, calibration, config

FIRST = TODAY - timedelta(days=3)
BEGAN_MS = TODAY_MS - 3 * DAY_MS
ANOTHER = calibration(0.004)
ZONES = ("UTC", "Europe/Berlin", "America/Los_Angeles")


def opened(path: Path, settings: Config | None = None) -> Store:
    """Return a store in which the configuration has held since four days ago."""
    store = Store.open(path)
    store.begin_run(Moment(0, BEGAN_MS, True))
    record_assignments(store, settings or config(), {"ledge": calibration()}, BEGAN_MS - DAY_MS)
    return store


def afresh(store: Store, first: date = FIRST - timedelta(days=2), last: date = TODAY) -> list[DayRecord]:
    """Return the days as the readings tell them, without looking at what is kept."""
    records = DayRecords(store, config())
    derived = (records.derive("ledge", first + timedelta(days=n)) for n in range((last - first).days + 1))
    return [record for record in derived if record is not None]


def known(store: Store, first: date = FIRST - timedelta(days=2), last: date = TODAY) -> list[DayRecord]:
    return DayRecords(store, config()).of("ledge", first, last)


def keep_all(store: Store) -> None:
    records = DayRecords(store, config())
    for record in records.of("ledge", FIRST - timedelta(days=2), TODAY):
        records.keep(record)


def kept_days(store: Store) -> list[str]:
    return [row.day for row in store.days.between("ledge", "2000-01-01", "2100-01-01")]


minutes = st.integers(-2 * 1440, 4 * 1440)


class Doing:
    """What may happen to a store, each as its place and time in the daemon or another command has it."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.boot = 0

    def append(self, at: int, length: int, level: float) -> None:
        self.boot += 1
        start_ms = BEGAN_MS + at * 60_000
        self.store.readings.append(
            [readings(lambda _: level, start_ms, start_ms + length * 60_000, boot=self.boot)]
        )

    def keep(self, *_: float) -> None:
        keep_all(self.store)

    def summarise(self, *_: float) -> None:
        summariser = Summariser(self.store)
        while summariser.step(before_ms=MIDNIGHT_MS + 5 * DAY_MS):
            pass

    def compact(self, *_: float) -> None:
        while self.store.readings.compact(MIDNIGHT_MS + 5 * DAY_MS):
            pass

    def recalibrate(self, at: int, length: int, level: float) -> None:
        with self.store.transaction():
            if self.store.calibrations.get(ANOTHER.identity) is None:
                self.store.calibrations.put(ANOTHER.identity, format_calibration(ANOTHER))
            identity = (ANOTHER if level > 1 else calibration()).identity
            from_ms = BEGAN_MS + at * 60_000
            self.store.assignments.recalibrate("ledge", identity, from_ms, to_ms=from_ms + length * 60_000)

    def withdraw(self, *_: float) -> None:
        history = self.store.assignments.history("ledge")
        alive = [record.generation for record in history if not record.withdrawn]
        if len(set(alive)) > 1:
            self.store.assignments.withdraw(max(alive))

    def reband(self, at: int, length: int, level: float) -> None:
        what = self.store.assignments.history("ledge")[-1].assignment
        other = replace(what, band=f"{0.5 * level!r} {level!r} 9.0")
        self.store.assignments.record(other, BEGAN_MS + at * 60_000)

    def restamp(self, at: int, length: int, level: float) -> None:
        self.store.readings.restamp(
            self.store._runs.running(), (at % 1440) * 60_000 + length, clock_sure=level > 1
        )

    def another_board(self, at: int, length: int, level: float) -> None:
        what = self.store.assignments.history("ledge")[-1].assignment
        other = replace(what, board="moss-2" if level > 1 else "rock-1")
        self.store.assignments.record(other, BEGAN_MS + at * 60_000)


WHAT = [name for name in vars(Doing) if not name.startswith("_")]
happenings = st.lists(
    st.tuples(
        st.sampled_from([*WHAT, "append", "keep", "keep"]), minutes, st.integers(1, 2000), st.floats(0.5, 3)
    ),
    min_size=2,
    max_size=9,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(happened=happenings)
def test_whatever_happens_in_whatever_order_a_day_is_what_its_readings_say(
    tmp_path_factory: pytest.TempPathFactory, happened: list[tuple[str, int, int, float]]
) -> None:
    with opened(tmp_path_factory.mktemp("days") / "s.db") as store:
        doing = Doing(store)
        doing.append(600, 1440, 1.8)
        keep_all(store)
        for name, at, length, level in happened:
            getattr(doing, name)(at, length, level)
            assert known(store) == afresh(store), name
        lamps = DayRecords(store, config()).lamps("ledge", FIRST - timedelta(days=2), TODAY)
        upkeep = RecordUpkeep(store, config())
        store.judged.set_through("ledge", MIDNIGHT_MS)
        while upkeep.step(MIDNIGHT_MS + HOUR_MS):
            pass
        assert upkeep.is_done
        assert known(store) == afresh(store)
        assert DayRecords(store, config()).lamps("ledge", FIRST - timedelta(days=2), TODAY) == lamps
        assert kept_days(store) == [record.date.isoformat() for record in afresh(store)]


def test_a_record_survives_the_store_to_the_last_bit(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS)])
        keep_all(store)
        assert len(kept_days(store)) == 4
        assert known(store) == afresh(store)


def test_another_process_that_puts_a_calibration_over_the_past_makes_the_records_stale(
    tmp_path: Path,
) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS)])
        keep_all(store)
        before = known(store)
        with Store.open(tmp_path / "s.db") as other:
            other.calibrations.put(ANOTHER.identity, format_calibration(ANOTHER))
            generation = other.assignments.recalibrate("ledge", ANOTHER.identity, TODAY_MS - DAY_MS)
        assert generation is not None
        after = known(store)
        assert [record.calibration == ANOTHER.identity for record in after] == [False, False, True, True]
        assert after == afresh(store)
        assert after[0] == before[0]
        with Store.open(tmp_path / "s.db") as other:
            other.assignments.withdraw(generation)
        assert known(store) == before


def test_a_late_reading_just_beyond_midnight_counts_for_both_days(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, TODAY_MS - 30_000, step_ms=120_000)])
        store.readings.append([readings(steady, TODAY_MS + 240_000, MIDNIGHT_MS, boot=2)])
        keep_all(store)
        store.readings.append([readings(steady, TODAY_MS + 60_000, TODAY_MS + 120_000, boot=3)])
        assert kept_days(store) == [FIRST.isoformat(), (FIRST + timedelta(days=1)).isoformat()]
        assert known(store) == afresh(store)


def test_one_look_derives_a_day_once_and_the_next_look_anew(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, BEGAN_MS + HOUR_MS)])
        look, watching = DayRecords(store, config(), for_one_look=True), DayRecords(store, config())
        before = look.of("ledge", FIRST, FIRST)
        assert watching.of("ledge", FIRST, FIRST) == before
        store.readings.append([readings(steady, BEGAN_MS + HOUR_MS, BEGAN_MS + 2 * HOUR_MS, boot=2)])
        assert look.of("ledge", FIRST, FIRST) == before
        assert look.lamps("ledge", FIRST, FIRST)[0].day == before[0].lamp
        assert watching.of("ledge", FIRST, FIRST) == known(store, FIRST, FIRST) != before


def test_what_was_made_of_readings_that_are_forgotten_stays_whatever_is_recalibrated(
    tmp_path: Path,
) -> None:
    with opened(tmp_path / "s.db") as store:
        for day in range(4):
            start_ms = BEGAN_MS + day * DAY_MS
            store.readings.append([readings(steady, start_ms, start_ms + DAY_MS, boot=day)])
        keep_all(store)
        before = known(store)
        Doing(store).summarise()
        Doing(store).compact()
        assert store.readings.forget_before(TODAY_MS - DAY_MS + HOUR_MS) > 0
        assert store.readings.forgotten_before("rock-1") == TODAY_MS - DAY_MS - 59_999
        Doing(store).recalibrate(-1440, 10_000, 3.0)
        now = known(store)
        assert [record.date for record in now] == [record.date for record in before]
        # Of the third day its first minutes' neighbours are gone.
        assert now[:3] == before[:3]
        assert now[3].calibration == ANOTHER.identity
        store.readings.append([readings(steady, BEGAN_MS + HOUR_MS, BEGAN_MS + 2 * HOUR_MS, boot=9)])
        assert known(store)[:3] == before[:3]


def judged_by(store: Store, settings: Config, calibrated: Calibration) -> Nightly:
    return Nightly(store, settings, {"ledge": calibrated}, MIDNIGHT_MS + HOUR_MS, bulk=False)


def test_after_a_new_calibration_a_lamps_days_are_all_by_it(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS)])
        keep_all(store)
        record_assignments(store, config(), {"ledge": ANOTHER}, TODAY_MS + 12 * HOUR_MS)
        store.judged.set_through("ledge", MIDNIGHT_MS)
        records = DayRecords(store, config())
        view = lamp_view(store, config(), records, "tube", "ledge", TODAY)
        levels = [day.level_uvi for day in view.days]
        assert levels == pytest.approx([2.4] * 4, rel=0.01)  # 1.8 · 0.004 / 0.003
        assert [record.calibration == calibration().identity for record in known(store)] == [True] * 3 + [
            False
        ]
        upkeep = RecordUpkeep(store, config())
        while upkeep.step(MIDNIGHT_MS + HOUR_MS):
            pass
        assert records.unkept_lamps("ledge", FIRST, TODAY) == []
        assert lamp_view(store, config(), records, "tube", "ledge", TODAY) == view
        store.readings.append(
            [readings(lambda _: 1.2, TODAY_MS - 13 * HOUR_MS, TODAY_MS - 12 * HOUR_MS, step_ms=500, boot=5)]
        )
        assert records.unkept_lamps("ledge", FIRST, TODAY - timedelta(days=2)) == []
        anew = lamp_view(store, config(), records, "tube", "ledge", TODAY)
        assert anew.days[:2] == view.days[:2]
        assert anew.days[2] != view.days[2]


def test_where_readings_are_forgotten_the_trend_begins_with_what_is_left(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        for day in range(4):
            start_ms = BEGAN_MS + day * DAY_MS
            store.readings.append([readings(steady, start_ms, start_ms + DAY_MS, boot=day)])
        keep_all(store)
        Doing(store).summarise()
        Doing(store).compact()
        store.readings.forget_before(TODAY_MS - DAY_MS - HOUR_MS)
        record_assignments(store, config(), {"ledge": ANOTHER}, TODAY_MS + 12 * HOUR_MS)
        view = lamp_view(store, config(), DayRecords(store, config()), "tube", "ledge", TODAY)
        assert [day.date for day in view.days] == [TODAY - timedelta(days=1), TODAY]
        assert view.hours_before > 24 * 4  # what is left out still burned


def test_a_new_lamp_begins_anew_and_another_distance_only_the_baseline(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS)])
        records = DayRecords(store, config())
        hung_ago = (FIRST - date(2026, 1, 18)).days
        whole = lamp_view(store, config(), records, "tube", "ledge", TODAY)
        assert whole.hours_before == pytest.approx(10 * hung_ago, rel=0.01)
        store.lamp_changes.add("tube", TODAY, LampChangeKind.DISTANCE, "", MIDNIGHT_MS)
        moved = lamp_view(store, config(), records, "tube", "ledge", TODAY)
        assert (moved.since, len(moved.days)) == (TODAY, 1)
        assert moved.hours_before == pytest.approx(10 * (hung_ago + 3), rel=0.01)
        store.lamp_changes.add("tube", TODAY - timedelta(days=1), LampChangeKind.LAMP, "", MIDNIGHT_MS)
        changed = lamp_view(store, config(), records, "tube", "ledge", TODAY)
        assert (changed.since, changed.hours_before) == (TODAY, pytest.approx(10, rel=0.01))


@pytest.mark.parametrize("zone", ZONES)
def test_days_are_the_keepers_and_a_change_of_zone_makes_them_anew(tmp_path: Path, zone: str) -> None:
    there = config(CONFIG.replace('"UTC"', f'"{zone}"'))
    with opened(tmp_path / "s.db", there) as store:
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS)])
        keep_all(store)
        records = DayRecords(store, there)
        for record in records.of("ledge", FIRST, TODAY):
            assert record == records.derive("ledge", record.date)
            assert record.profile.bounds.time_zone == zone


def test_a_long_absence_costs_no_more_than_a_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS - 800 * DAY_MS, BEGAN_MS - 799 * DAY_MS)])
        store.readings.append([readings(steady, BEGAN_MS, MIDNIGHT_MS, boot=2)])
        record_assignments(store, config(), {"ledge": calibration()}, BEGAN_MS - 900 * DAY_MS)
        asked: list[Any] = []
        between = store.readings.between

        def counted(*what: Any) -> Any:
            asked.append(what)
            return between(*what)

        monkeypatch.setattr(store.readings, "between", counted)
        days = DayRecords(store, config()).of("ledge", FIRST - timedelta(days=900), TODAY)
        assert len(days) == 5
        assert len(asked) <= 8


def test_the_next_reading_is_found_in_chunks_and_in_the_tail(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        store.readings.append([readings(steady, BEGAN_MS, BEGAN_MS + DAY_MS)])
        store.readings.append([readings(steady, TODAY_MS, TODAY_MS + 600_000, boot=2)])
        asks = np.array([0, BEGAN_MS, BEGAN_MS + DAY_MS, TODAY_MS + 600_000])
        found = [store.readings.next_utc_ms("rock-1", int(ms)) for ms in asks]
        assert found == [BEGAN_MS, BEGAN_MS, TODAY_MS, None]
        assert store.readings.next_utc_ms("nobody", 0) is None
