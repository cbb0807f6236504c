"""What is now, followed from outside: the same as the daemon says, whatever changes under it."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from calibrate.samples import Flag
from exposure.events import EventKind
from exposure.place import Place
from ingest.assigning import record_assignments
from ingest.present import Present, RoomNow
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, UVI_PER_COUNT, Board, PlainBoard, Rig, calibration, config


class Outside:
    """Somebody who looks at a rig's store from another process."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._store = Store.open(rig.store_path, read_only=True)
        self._present = Present(self._store, rig.store_path, rig.settings)

    def look(self, *, ago_ms: int = 0) -> RoomNow:
        return self._present.look(self._rig.clock.moment().wall_ms - ago_ms)

    def afresh(self) -> RoomNow:
        """What somebody sees who has not looked before."""
        with self._rig.look() as store:
            return Present(store, self._rig.store_path, self._rig.settings).look(
                self._rig.clock.moment().wall_ms
            )

    def close(self) -> None:
        self._store.close()


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    rig = Rig(tmp_path / "s.db", Board(uvi=1.8))
    rig.start()
    rig.plug("rock-1")
    yield rig
    rig.store.close()


@pytest.fixture
def outside(rig: Rig) -> Iterator[Outside]:
    outside = Outside(rig)
    yield outside
    outside.close()


def test_it_says_what_the_daemon_says(rig: Rig, outside: Outside) -> None:
    for _ in range(5):
        rig.run(31)
        seen = outside.look()
        told = rig.bridge.spots["ledge"].state(seen.at_ms, ())
        ledge = seen.spot("ledge").state
        assert ledge.at_ms is not None
        assert told.at_ms is not None
        assert 0 <= told.at_ms - ledge.at_ms <= 3_000  # what waits to be committed
        late = {"at_ms": told.at_ms, "dose_uvi_h": told.dose_uvi_h, "coverage": told.coverage}
        assert ledge.dose_uvi_h == pytest.approx(told.dose_uvi_h, abs=0.005)
        assert ledge.coverage == pytest.approx(told.coverage, abs=0.001)
        assert replace(ledge, **late, open_events=()) == told


def test_what_is_stored_while_somebody_looks_is_seen_the_next_time(rig: Rig, outside: Outside) -> None:
    rig.run(20)
    outside.look()
    rig.run(20)
    outside.look(ago_ms=15_000)  # began to look before all that was stored
    followed, afresh = outside.look(), outside.afresh()
    assert followed.spot("ledge").state.at_ms == afresh.spot("ledge").state.at_ms
    assert followed.spot("ledge").state.dose_uvi_h == pytest.approx(afresh.spot("ledge").state.dose_uvi_h)


def test_following_ends_where_looking_afresh_begins(rig: Rig, outside: Outside) -> None:
    for _ in range(4):
        rig.run(20)
        followed = outside.look()
    afresh = outside.afresh()
    assert replace(followed.spots[0].state, dose_uvi_h=None) == replace(
        afresh.spots[0].state, dose_uvi_h=None
    )
    assert followed.spots[0].state.dose_uvi_h == pytest.approx(afresh.spots[0].state.dose_uvi_h)
    assert followed.boards == afresh.boards


def test_whether_a_daemon_watches(rig: Rig, outside: Outside) -> None:
    rig.run(5)
    assert outside.look().watched
    rig.finish()
    assert not outside.look().watched


def test_what_was_seen_long_ago_is_not_the_present_but_the_last(rig: Rig, outside: Outside) -> None:
    rig.run(30)
    assert outside.look().spot("ledge").current
    rig.unplug("rock-1")
    rig.run(300, step_ms=1_000)
    room = outside.look()
    ledge = room.spot("ledge")
    assert not ledge.current
    assert (ledge.state.uvi, ledge.state.place) == (None, Place.UNKNOWN)
    assert ledge.last is not None
    assert ledge.last[1] == pytest.approx(1.8, abs=0.01)
    assert room.boards[0].silent
    assert [event.kind for event in room.events_of(ledge)] == [EventKind.BOARD_SILENT]
    assert room.events_of(replace(ledge, board="another-1")) == []


def test_a_new_calibration_is_noticed(rig: Rig, outside: Outside) -> None:
    rig.run(30)
    before = outside.look().spot("ledge")
    record_assignments(
        rig.store,
        rig.settings,
        {"ledge": calibration(2 * UVI_PER_COUNT)},
        rig.clock.moment().wall_ms - 15_000,
    )
    after = outside.look().spot("ledge")
    assert after.calibration != before.calibration
    assert after.state.uvi == pytest.approx(2 * before.state.uvi, abs=0.02)
    assert after.state.dose_uvi_h == pytest.approx(1.5 * before.state.dose_uvi_h, rel=0.1)


def test_a_clock_that_is_set_takes_the_readings_along(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=1.8), synchronised=False)
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    outside = Outside(rig)
    first = outside.look().spot("ledge").state
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms + 7_200_000)
    rig.clock.synchronised = True
    rig.run(30)
    moved = outside.look().spot("ledge").state
    assert moved.flags & Flag.CLOCK_UNSURE == Flag(0)
    assert moved.at_ms - first.at_ms >= 7_200_000
    afresh = outside.afresh().spot("ledge").state
    assert moved.dose_uvi_h == pytest.approx(afresh.dose_uvi_h)
    outside.close()
    rig.store.close()


def test_what_a_board_says_again_counts_in_its_place(rig: Rig, outside: Outside) -> None:
    rig.run(30)
    outside.look()
    rig.unplug("rock-1", keep_power=True)
    rig.run(100, step_ms=1_000)
    rig.plug("rock-1")
    rig.run(30)
    followed, afresh = outside.look().spot("ledge").state, outside.afresh().spot("ledge").state
    assert followed.dose_uvi_h == pytest.approx(afresh.dose_uvi_h)
    assert followed.coverage == pytest.approx(afresh.coverage)
    assert followed.at_ms == afresh.at_ms


def test_midnight_begins_the_dose_anew(rig: Rig, outside: Outside) -> None:
    rig.run(10)
    outside.look()
    rig.away(12 * 3_600)
    rig.run(20)
    state = outside.look().spot("ledge").state
    assert state.dose_uvi_h == pytest.approx(outside.afresh().spot("ledge").state.dose_uvi_h)
    assert state.dose_uvi_h < 0.02


def test_a_store_without_readings_says_that_nothing_is_known(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    outside = Outside(rig)
    room = outside.look()
    assert room.newest_ms is None
    assert (room.spots[0].state.at_ms, room.spots[0].state.dose_uvi_h, room.spots[0].last) == (
        None,
        None,
        None,
    )
    assert room.boards[0].silent
    outside.close()
    rig.store.close()


def test_how_often_a_board_speaks_that_does_not_say_it_is_learned(tmp_path: Path) -> None:
    mapping = '{ format = "csv", channels = { uva_counts = 0, temperature_c = 1 }, port = "/dev/tty*" }'
    text = CONFIG.replace('label = "Behind the rock"\n', f'label = "Behind the rock"\nmapping = {mapping}\n')
    board = Board(uvi=1.8, cadence_ms=120_000)
    board.simulated = PlainBoard(board.simulated.model, board.simulated._channels_at, seed=1)
    rig = Rig(tmp_path / "s.db", board, settings=config(text))
    rig.start()
    rig.plug("rock-1")
    outside = Outside(rig)
    for _ in range(9):
        rig.run(100, step_ms=1_000)
        outside.look()
    rig.run(40, step_ms=1_000)
    ledge = outside.look().spot("ledge")
    assert ledge.state.at_ms is not None
    assert (
        rig.clock.moment().wall_ms - ledge.state.at_ms > 1000 * rig.settings.rule_settings("ledge").max_gap_s
    )
    assert ledge.current
    assert ledge.state.dose_uvi_h == pytest.approx(outside.afresh().spot("ledge").state.dose_uvi_h)
    outside.close()
    rig.store.close()
