"""A lamp that is changed in the middle of a day: its hours and its new level begin at that moment."""

from datetime import date, time, timedelta
from pathlib import Path

import pytest

from calibrate.errors import KeeperError
from calibrate.samples import Samples
from exposure.days import local_time_ms
from ingest.day_records import DayRecords
from ingest.history import History
from ingest.lamp_acts import note_lamp_change, withdraw_lamp_change
from ingest.lamp_views import LampView, lamp_view
from ingest.store.lamp_changes import LampChange, LampChangeKind
from ingest.store.store import Store
from tests.ingest.nights import DAY_MS, TODAY_MS, readings, steady
from tests.ingest.rig import CONFIG, HOUR_MS, TODAY, config
from tests.ingest.test_day_records import opened

YESTERDAY = TODAY - timedelta(days=1)
TWO_SPOTS = (
    CONFIG.replace('board = "rock"', 'board = "rock"\nsensor = "a"')
    + """
[spot.log]
label = "Log"
enclosure = "garden"
lamp = "tube"
board = "rock"
sensor = "b"
band = { low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }
"""
)


def filled(path: Path, days: int = 4, until_ms: int = TODAY_MS + DAY_MS) -> Store:
    """Return a store with the lamp lit for ten hours of each day, from 08:00 on, and dark else."""
    store = opened(path)
    store.readings.append([readings(steady, until_ms - days * DAY_MS, until_ms)])
    return store


def seen(store: Store, until: date = TODAY) -> LampView:
    return lamp_view(store, config(), DayRecords(store, config()), "tube", "ledge", until)


def noted(
    store: Store, what: LampChangeKind, day: date, clock: time | None = None, now_ms: int = TODAY_MS + DAY_MS
) -> LampChange:
    return note_lamp_change(store, config(), "tube", what, day, "", now_ms, clock=clock)


def test_a_lamp_that_is_new_since_noon_has_burned_since_noon(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        change = noted(store, LampChangeKind.LAMP, YESTERDAY, time(12, 0))
        assert change.moment is not None
        assert change.moment.clock == "12:00"
        assert change.moment.before["ledge"].hours_on == pytest.approx(4, abs=0.02)
        view = seen(store)
        assert (view.since, [day.date for day in view.days]) == (YESTERDAY, [TODAY])
        assert view.hours_before == pytest.approx(6, abs=0.05)
        assert view.report.hours_on == pytest.approx(16, abs=0.1)
        assert seen(store, YESTERDAY).report.hours_on == pytest.approx(6, abs=0.05)


def test_of_a_change_on_a_day_all_of_that_day_counts(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        assert noted(store, LampChangeKind.LAMP, YESTERDAY).moment is None
        view = seen(store)
        assert [day.date for day in view.days] == [YESTERDAY, TODAY]
        assert view.report.hours_on == pytest.approx(20, abs=0.1)


def test_what_is_noted_today_happens_now(tmp_path: Path) -> None:
    noon_ms = TODAY_MS + 12 * HOUR_MS
    with filled(tmp_path / "s.db", until_ms=noon_ms) as store:
        change = noted(store, LampChangeKind.LAMP, TODAY, now_ms=noon_ms)
        assert change.moment is not None
        assert (change.moment.at_ms, change.moment.clock) == (noon_ms, "12:00")
        assert seen(store).report.hours_on == pytest.approx(0, abs=0.05)


def test_a_new_baseline_knows_nothing_of_the_morning_before_it(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        noon_ms = TODAY_MS - DAY_MS + 12 * HOUR_MS
        store.readings.append([readings(lambda hour: 2 * steady(hour), TODAY_MS - 3 * DAY_MS, noon_ms)])
        store.readings.append([readings(steady, noon_ms, TODAY_MS + DAY_MS, boot=2)])
        before = seen(store, TODAY - timedelta(days=2)).report.hours_on
        noted(store, LampChangeKind.DISTANCE, YESTERDAY, time(12, 0))
        view = seen(store)
        (after,) = view.days
        assert (view.since, after.date) == (YESTERDAY, TODAY)
        assert view.hours_before == pytest.approx(before + 10, abs=0.1)  # the lamp is the same


def test_a_change_before_the_lamp_came_on_leaves_the_day_whole(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(7, 0))
        view = seen(store)
        assert [day.date for day in view.days] == [YESTERDAY, TODAY]
        assert view.report.hours_on == pytest.approx(20, abs=0.1)


def test_a_change_at_midnight_leaves_the_day_whole(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(0, 0))
        assert [day.date for day in seen(store).days] == [YESTERDAY, TODAY]


def test_a_lamp_changed_twice_in_a_day_has_burned_since_the_second(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(16, 0))
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(10, 0))
        assert seen(store).hours_before == pytest.approx(2, abs=0.05)
        with pytest.raises(KeeperError, match="noted already, as change 1"):
            noted(store, LampChangeKind.LAMP, YESTERDAY, time(16, 4))
        with pytest.raises(KeeperError, match="noted already"):
            noted(store, LampChangeKind.LAMP, YESTERDAY)
        withdraw_lamp_change(store, config(), "tube", 1)
        assert seen(store).hours_before == pytest.approx(8, abs=0.05)


def test_installed_of_the_configuration_does_not_forget_the_time_that_was_noted(tmp_path: Path) -> None:
    text = CONFIG.replace("installed = 2026-01-18", f"installed = {YESTERDAY}")
    with filled(tmp_path / "s.db") as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(12, 0))
        there = config(text)
        view = lamp_view(store, there, DayRecords(store, there), "tube", "ledge", TODAY)
        assert view.hours_before == pytest.approx(6, abs=0.05)


def test_hours_that_were_counted_stay_when_their_readings_are_forgotten(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db") as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(12, 0))
        records = DayRecords(store, config())
        for record in records.of("ledge", YESTERDAY - timedelta(days=2), TODAY):
            records.keep(record)
        while store.readings.compact(TODAY_MS + 2 * DAY_MS):
            pass
        store.readings.forget_before(TODAY_MS + DAY_MS)
        assert seen(store).hours_before == pytest.approx(6, abs=0.05)


def test_hours_still_to_come_have_not_burned(tmp_path: Path) -> None:
    with filled(tmp_path / "s.db", until_ms=TODAY_MS + 12 * HOUR_MS) as store:
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(0, 0))
        assert seen(store).report.hours_on == pytest.approx(14, abs=0.1)
        noted(store, LampChangeKind.DISTANCE, TODAY, time(10, 0))
        assert seen(store).report.hours_on == pytest.approx(14, abs=0.1)
        store.judged.set_through("ledge", TODAY_MS + DAY_MS)  # nothing was seen of the afternoon
        assert seen(store).report.hours_on == pytest.approx(19, abs=0.2)


def test_a_time_to_come_is_refused(tmp_path: Path) -> None:
    with opened(tmp_path / "s.db") as store:
        with pytest.raises(KeeperError, match=f"{TODAY} 12:01 is still to come"):
            noted(store, LampChangeKind.LAMP, TODAY, time(12, 1), TODAY_MS + 12 * HOUR_MS)
        assert store.lamp_changes.of("tube") == []


@pytest.mark.parametrize(
    ("day", "hour", "clock"), [(date(2026, 3, 29), 2, "03:00"), (date(2026, 10, 25), 2, "02:30")]
)
def test_a_time_at_which_the_clocks_change_is_a_moment_all_the_same(
    tmp_path: Path, day: date, hour: int, clock: str
) -> None:
    there = config(CONFIG.replace('"UTC"', '"Europe/Vienna"'))
    with Store.open(tmp_path / "s.db") as store:
        change = note_lamp_change(
            store,
            there,
            "tube",
            LampChangeKind.LAMP,
            day,
            "",
            local_time_ms(date(2026, 11, 1), 0, "Europe/Vienna"),
            clock=time(hour, 30),
        )
        assert change.moment is not None
        assert change.moment.clock == clock
        assert store.lamp_changes.of("tube") == [change]


def test_each_spot_that_a_lamp_lights_has_seen_its_own_hours(tmp_path: Path) -> None:
    there = config(TWO_SPOTS)
    with filled(tmp_path / "s.db") as store:
        change = note_lamp_change(
            store, there, "tube", LampChangeKind.LAMP, TODAY, "", TODAY_MS + 12 * HOUR_MS
        )
        assert change.moment is not None
        assert set(change.moment.before) == {"ledge", "log"}
        assert change.moment.before["log"].coverage == 0


def test_what_was_seen_by_then_is_read_while_a_daemon_may_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    samples = History.samples
    with filled(tmp_path / "s.db") as store, Store.open(tmp_path / "s.db") as daemon:

        def meanwhile(self: History, spot: str, from_ms: int, to_ms: int) -> Samples:
            daemon.cursors.set("mirror", 7)
            return samples(self, spot, from_ms, to_ms)

        monkeypatch.setattr(History, "samples", meanwhile)
        noted(store, LampChangeKind.LAMP, YESTERDAY, time(12, 0))
        assert store.cursors.get("mirror") == 7
