"""A host without a clock battery: its time jumps, and everything that it kept is right afterwards."""

from pathlib import Path

import numpy as np
import pytest

from calibrate.samples import Flag
from exposure.events import Event, EventKind
from ingest.mqtt.payloads import SpotState
from tests.ingest.rig import HOUR_MS, NOON_MS, Board, Rig

UNSURE = np.uint32(Flag.CLOCK_UNSURE)


class Listener:
    """Keeps the last state told of the spot."""

    state: SpotState

    def event(self, event: Event) -> None: ...
    def open_events(self, events: object, now_ms: int) -> None: ...
    def board(self, state: object) -> None: ...

    def spot(self, state: SpotState) -> None:
        self.state = state


def of_kind(rig: Rig, kind: EventKind) -> list[Event]:
    return [event for event in rig.events() if event.kind is kind]


def everything_is_in_place(rig: Rig, true_offset_ms: int) -> None:
    """Assert that each reading is stored once, at its true time, in order."""
    [seqs] = rig.seqs().values()
    assert seqs == list(range(rig.boards["rock-1"].simulated.next_seq))
    samples = rig.samples()
    assert samples.utc_ms == pytest.approx(true_offset_ms + 1000 * np.arange(1, len(samples) + 1), abs=30)
    assert not (samples.flags & UNSURE).any()


@pytest.mark.parametrize("wrong_by_ms", [-400 * 24 * HOUR_MS, -HOUR_MS, 3 * HOUR_MS, 400 * 24 * HOUR_MS])
def test_the_first_run_with_a_wrong_clock_is_put_right_when_the_network_comes(
    tmp_path: Path, wrong_by_ms: int
) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=2.0), synchronised=False, audience=[listener := Listener()])
    started_ms = NOON_MS
    rig.clock.set_wall_ms(NOON_MS + wrong_by_ms)
    rig.start()
    rig.plug("rock-1")
    rig.run(600)
    assert (rig.samples().flags & UNSURE).all()
    rig.clock.set_wall_ms(started_ms + 600_000)
    rig.clock.synchronised = True
    rig.run(600)
    rig.finish()
    everything_is_in_place(rig, started_ms)
    day = rig.day().profile
    assert day.dose_uvi_h == pytest.approx(2.0 * 1199 / 3600, rel=1e-3)
    assert listener.state.dose_uvi_h == pytest.approx(day.dose_uvi_h, rel=0.02)
    with rig.look() as store:
        record = store.boards.get("rock-1")
    assert record is not None
    assert record.first_seen_ms == pytest.approx(started_ms, abs=2000)
    assert record.last_seen_ms == pytest.approx(started_ms + 1_200_000, abs=12_000)


def test_a_pi_that_wakes_in_the_past_carries_on_and_moves_to_the_true_time(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=2.0))
    rig.start()
    rig.plug("rock-1")
    rig.run(300)
    rig.unplug("rock-1")
    rig.finish()
    rig.away(600)  # no power anywhere
    rig.clock.synchronised = False
    rig.clock.set_wall_ms(NOON_MS - 5 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.run(120)
    before = rig.samples()
    assert (np.diff(before.utc_ms) > 0).all()
    assert (before.flags[:300] & UNSURE == 0).all()
    assert (before.flags[300:] & UNSURE).all()
    rig.clock.synchronised = True
    rig.clock.set_wall_ms(NOON_MS + 1_020_000)
    rig.run(60)
    rig.finish()
    samples = rig.samples()
    assert len(samples) == 480
    first, second = samples.utc_ms[:300], samples.utc_ms[300:]
    assert first == pytest.approx(NOON_MS + 1000 * np.arange(1, 301), abs=30)
    assert second == pytest.approx(NOON_MS + 900_000 + 1000 * np.arange(1, 181), abs=30)
    assert not (samples.flags & UNSURE).any()


@pytest.mark.parametrize("step_ms", [-2 * HOUR_MS, -5_000, 7_000, HOUR_MS])
def test_a_clock_that_is_set_by_hand_moves_the_run(tmp_path: Path, step_ms: int) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    rig.run(100)
    rig.clock.set_wall_ms(NOON_MS + 100_000 + step_ms)
    rig.run(100)
    rig.finish()
    everything_is_in_place(rig, NOON_MS + step_ms)


@pytest.mark.parametrize("wrong_by_ms", [-HOUR_MS, HOUR_MS])
def test_an_event_moves_with_its_run(tmp_path: Path, wrong_by_ms: int) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0), synchronised=False)
    rig.clock.set_wall_ms(NOON_MS + wrong_by_ms)
    rig.start()
    rig.plug("rock-1")
    rig.run(120)
    [event] = of_kind(rig, EventKind.OVER_CEILING)
    assert event.opened_ms == NOON_MS + wrong_by_ms + 61_000
    rig.clock.set_wall_ms(NOON_MS + 120_000)
    rig.clock.synchronised = True
    rig.run(60)
    rig.boards["rock-1"].uvi = 1.8
    rig.run(360)
    rig.finish()
    [moved] = of_kind(rig, EventKind.OVER_CEILING)
    assert moved.identity == event.identity
    assert moved.opened_ms == pytest.approx(NOON_MS + 61_000, abs=30)
    assert moved.evidence["since_ms"] == pytest.approx(NOON_MS + 1_000, abs=30)
    assert moved.closed_ms == pytest.approx(NOON_MS + 481_000, abs=1030)
    assert moved.evidence["lasted_s"] == pytest.approx(120, abs=1.1)
    assert [shown.identity for shown in rig.day().events if shown.kind is EventKind.OVER_CEILING] == [
        event.identity
    ]


def test_an_event_of_an_earlier_run_stays_where_it_is_and_only_its_end_moves(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0))
    rig.start()
    rig.plug("rock-1")
    rig.run(120)
    [event] = of_kind(rig, EventKind.OVER_CEILING)
    rig.unplug("rock-1")
    rig.finish()
    rig.clock.synchronised = False
    rig.boards["rock-1"].uvi = 1.8
    rig.start()
    rig.plug("rock-1")
    rig.run(320)
    rig.clock.advance_ms(0)
    rig.clock.set_wall_ms(NOON_MS + HOUR_MS)
    rig.clock.synchronised = True
    rig.run(5)
    rig.finish()
    [moved] = of_kind(rig, EventKind.OVER_CEILING)
    assert moved.opened_ms == event.opened_ms
    assert moved.closed_ms is not None
    assert moved.closed_ms == pytest.approx(NOON_MS + HOUR_MS - 19_000, abs=1500)


def test_a_jump_in_the_middle_of_a_hold_neither_delays_nor_doubles_the_event(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0), synchronised=False)
    rig.clock.set_wall_ms(NOON_MS - 7 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.run(30)
    rig.clock.set_wall_ms(NOON_MS + 30_000)
    rig.clock.synchronised = True
    rig.run(40)
    rig.finish()
    [event] = of_kind(rig, EventKind.OVER_CEILING)
    assert event.opened_ms == pytest.approx(NOON_MS + 61_000, abs=30)


def test_a_former_run_that_was_ahead_does_not_silence_the_rules(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), synchronised=False)
    rig.clock.set_wall_ms(NOON_MS + 24 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    rig.unplug("rock-1")
    rig.die()
    rig.clock.set_wall_ms(NOON_MS)
    rig.clock.synchronised = True
    rig.boards["rock-1"].uvi = 6.0
    rig.start()
    rig.plug("rock-1")
    rig.run(90)
    rig.finish()
    [event] = of_kind(rig, EventKind.OVER_CEILING)
    assert event.opened_ms == pytest.approx(NOON_MS + 61_000, abs=30)


def test_a_jump_is_no_silence_of_a_board(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), synchronised=False)
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    for step_ms in (5 * HOUR_MS, -9 * HOUR_MS, 30_000, -31_000):
        rig.clock.set_wall_ms(rig.clock.moment().wall_ms + step_ms)
        rig.run(60)
    rig.finish()
    assert of_kind(rig, EventKind.BOARD_SILENT) == []


def test_a_silence_that_a_jump_falls_into_opens_at_its_true_time(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), synchronised=False)
    rig.clock.set_wall_ms(NOON_MS - 3 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    rig.unplug("rock-1")
    rig.run(60)
    assert len(of_kind(rig, EventKind.BOARD_SILENT)) == 1
    rig.clock.set_wall_ms(NOON_MS + 120_000)
    rig.clock.synchronised = True
    rig.run(60)
    rig.plug("rock-1")
    rig.run(20)
    rig.finish()
    [event] = of_kind(rig, EventKind.BOARD_SILENT)
    assert event.opened_ms == pytest.approx(NOON_MS + 90_000, abs=1030)
    assert event.closed_ms == pytest.approx(NOON_MS + 181_000, abs=1030)
    assert event.closing is not None
    assert "2 min" in event.closing


def test_a_drifting_clock_is_followed_without_a_step(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    for _ in range(300):
        rig.run(1)
        rig.clock.set_wall_ms(rig.clock.moment().wall_ms + 3)  # 3000 ppm, six times what a daemon slews
    rig.finish()
    assert "the system clock was set" not in caplog.text
    samples = rig.samples()
    assert (np.diff(samples.utc_ms) > 0).all()
    assert samples.utc_ms[-1] == pytest.approx(rig.clock.moment().wall_ms, abs=1050)
