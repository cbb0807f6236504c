"""The minutes that are kept for ever add up to the day, whatever happened while they were made."""

from pathlib import Path

import pytest

from firmware_host.clock import Moment
from ingest.store.store import Store
from ingest.upkeep import Upkeep
from tests.ingest.rig import CONFIG, HOUR_MS, NOON_MS, TODAY, Board, Rig, config, day_of


def wave(at_ms: float) -> float:
    """Return a UVI that rises and falls, so that no minute is like the next."""
    return 1.0 + at_ms % 420_000 / 420_000


def summarised(rig: Rig) -> None:
    """Bring the minutes up to date, as runs that follow do."""
    with Store.open(rig.store_path) as store:
        store.begin_run(rig.clock.moment())
        upkeep = Upkeep(store, rig.settings, Moment(0, 0, True), lambda: None, lambda *_: False)
        while upkeep.summarise_step(rig.clock.moment().wall_ms + HOUR_MS):
            pass
        assert store.minutes.dirty() == []


def minutes_add_up(rig: Rig) -> None:
    with rig.look() as store:
        day = day_of(store, rig.settings).profile
        minutes = store.minutes.between("ledge", day.bounds.start_ms, day.bounds.end_ms)
    assert day.dose_uvi_h is not None
    assert minutes.dose_uvi_h.sum() == pytest.approx(day.dose_uvi_h, rel=1e-5)
    seen_ms = day.coverage * (day.bounds.end_ms - day.bounds.start_ms)
    assert minutes.covered_ms.sum() == pytest.approx(seen_ms, abs=len(minutes))
    assert minutes.n.sum() == len(rig.samples().between(day.bounds.start_ms, day.bounds.end_ms))


@pytest.mark.parametrize("cadence_s", [0.5, 1, 10, 90, 150])
def test_after_a_run_the_minutes_add_up_to_the_day(tmp_path: Path, cadence_s: float) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave, cadence_ms=round(1000 * cadence_s)))
    rig.start()
    rig.plug("rock-1")
    rig.run(3_000, step_ms=500)
    rig.finish()
    summarised(rig)
    minutes_add_up(rig)


def test_the_daemon_itself_keeps_the_minutes_up_to_date(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave))
    rig.start()
    rig.plug("rock-1")
    rig.run(3_000, step_ms=500)
    with rig.look() as store:
        minutes = store.minutes.between("ledge", NOON_MS, NOON_MS + HOUR_MS)
    # A quarter of an hour at a time, with five minutes' patience for what comes late.
    assert len(minutes) >= 30
    assert minutes.n[1:30].tolist() == [60] * 29
    rig.finish()


def test_a_death_between_commit_and_summary_leaves_marks_that_the_next_run_clears(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave))
    rig.start()
    rig.plug("rock-1")
    rig.run(1_300, step_ms=500)
    rig.die()
    with rig.look() as store:
        assert store.minutes.dirty() != []
    rig.start()
    rig.run(2_400, step_ms=500)
    rig.finish()
    summarised(rig)
    minutes_add_up(rig)


def test_readings_that_come_late_bring_their_minutes_and_their_neighbours_up_to_date(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave, replay_lines_per_s=30))
    rig.start()
    rig.plug("rock-1")
    rig.run(610.5, step_ms=500)
    rig.finish()
    summarised(rig)
    rig.away(900)
    rig.start()
    rig.run(120, step_ms=500)
    rig.finish()
    summarised(rig)
    minutes_add_up(rig)


def test_a_step_of_the_clock_moves_the_minutes_too(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave), synchronised=False)
    rig.clock.set_wall_ms(NOON_MS - 5 * HOUR_MS + 17_000)
    rig.start()
    rig.plug("rock-1")
    rig.run(2_500, step_ms=500)
    rig.clock.set_wall_ms(NOON_MS + 2_500_000)
    rig.clock.synchronised = True
    rig.run(60, step_ms=500)
    rig.finish()
    summarised(rig)
    minutes_add_up(rig)
    with rig.look() as store:
        bounds = day_of(store, rig.settings, day=TODAY).bounds
        assert len(store.minutes.between("ledge", bounds.start_ms, NOON_MS)) == 0


def test_minutes_stay_when_raw_readings_are_forgotten(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=wave))
    rig.start()
    rig.plug("rock-1")
    rig.run(1_200, step_ms=500)
    rig.finish()
    summarised(rig)
    dose = rig.day().profile.dose_uvi_h
    rig.unplug("rock-1")
    rig.away(40 * 24 * 3600)
    rig.start()
    rig.plug("rock-1")
    rig.run(10)
    rig.finish()
    summarised(rig)
    now = rig.clock.moment()
    with Store.open(rig.store_path) as store:
        store.begin_run(now)
        settings = config(CONFIG.replace("[bridge]", "[bridge]\nraw_keep_days = 30"))
        upkeep = Upkeep(
            store, settings, Moment(now.mono_ms - HOUR_MS, 0, True), lambda: None, lambda *_: False
        )
        while upkeep.summarise_step(now.wall_ms):  # forgetting waits for the days' records
            pass
        upkeep.step(now, now.wall_ms, clock_sure=False)
        assert sum(map(len, store.readings.between("rock-1", 0, 1 << 52))) == 1_210
        upkeep.step(now, now.wall_ms, clock_sure=True)
        minutes = store.minutes.between("ledge", NOON_MS - HOUR_MS, NOON_MS + HOUR_MS)
        left = store.readings.between("rock-1", 0, 1 << 52)
    assert sum(map(len, left)) == 10
    assert minutes.dose_uvi_h.sum() == pytest.approx(dose, rel=1e-5)
