"""Nothing is lost that a board still has, and nothing is kept twice: deaths, absences, cables, doubles."""

from pathlib import Path

import numpy as np
import pytest

from exposure.events import EventKind
from firmware_host.simulated.noise import LineNoise, NoiseLevel
from tests.ingest.rig import NOON_MS, Board, Rig


def whole(rig: Rig, board: str = "rock-1") -> bool:
    """Return whether every reading that the board ever made is stored, once, in its one boot."""
    [seqs] = rig.seqs(board).values()
    return sorted(seqs) == list(range(rig.boards[board].simulated.next_seq))


def test_a_killed_run_and_the_next_one_keep_each_reading_once(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=100))
    rig.plug("rock-1")
    for seconds in (7.3, 4.1, 0.4, 11.9):
        rig.start()
        rig.run(seconds, step_ms=50)
        rig.die()  # up to two seconds of readings were not committed
    rig.start()
    rig.run(20, step_ms=50)
    rig.finish()
    assert whole(rig)
    assert (np.diff(rig.samples().utc_ms) > 0).all()


def test_a_board_gives_back_what_it_measured_while_the_host_was_away(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(replay_lines_per_s=500))
    rig.plug("rock-1")
    rig.start()
    rig.run(30)
    rig.finish()
    rig.away(1_800)
    rig.start()
    rig.run(60)
    rig.finish()
    assert whole(rig)
    samples = rig.samples()
    # Each in its place in time, also those that nobody heard at the time.
    assert samples.utc_ms == pytest.approx(NOON_MS + 1000 * np.arange(1, len(samples) + 1), abs=30)
    assert not [event for event in rig.events() if event.kind is EventKind.BOARD_SILENT]


def test_what_a_short_ring_has_forgotten_is_lost_and_the_rest_comes(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(ring=60))
    rig.plug("rock-1")
    rig.start()
    rig.run(30)
    rig.finish()
    rig.away(600)
    n_before, n_now = 30, rig.boards["rock-1"].simulated.next_seq
    rig.start()
    rig.run(30)
    rig.finish()
    [seqs] = rig.seqs().values()
    lost = set(range(n_now)) - set(seqs)
    assert lost == set(range(n_before, min(lost) + len(lost)))
    assert 540 <= len(lost) <= 545
    assert len(seqs) == len(set(seqs))


def test_an_event_of_the_hosts_absence_is_opened_at_its_own_time(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(replay_lines_per_s=500))
    rig.plug("rock-1")
    rig.start()
    rig.run(30)
    rig.finish()
    rig.boards["rock-1"].uvi = 6.0
    rig.away(300)
    rig.start()
    rig.run(30)
    rig.finish()
    [event] = [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]
    assert event.opened_ms == pytest.approx(NOON_MS + 31_000 + 60_000, abs=30)


def test_a_hold_that_was_under_way_at_a_restart_begins_again(tmp_path: Path) -> None:
    # Nothing of it is stored, so a restart can delay an event by the hold, and never invent one.
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0))
    rig.plug("rock-1")
    rig.start()
    rig.run(50)
    rig.finish()
    rig.start()
    rig.run(50)
    assert not [event for event in rig.store.events.open() if event.kind is EventKind.OVER_CEILING]
    rig.run(20)
    assert [event for event in rig.store.events.open() if event.kind is EventKind.OVER_CEILING]
    rig.finish()


def test_an_open_event_is_taken_up_by_the_next_run_and_not_opened_twice(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=6.0))
    rig.plug("rock-1")
    rig.start()
    rig.run(90)
    rig.die()
    rig.start()
    rig.run(120)
    rig.boards["rock-1"].uvi = 1.8
    rig.run(330)
    rig.finish()
    [event] = [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]
    assert event.closed_ms is not None


def test_a_gap_left_by_noise_is_filled_in_order(tmp_path: Path) -> None:
    noise = LineNoise(NoiseLevel(drop=0.1, flip=0.1, split=0.05, duplicate=0.1, garbage=0.05), seed=5)
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=200, noise=noise, uvi=lambda at_ms: at_ms % 5000 / 5000))
    rig.plug("rock-1")
    rig.start()
    rig.run(180, step_ms=100)
    rig.finish()
    [seqs] = rig.seqs().values()
    n = rig.boards["rock-1"].simulated.next_seq
    assert len(seqs) == len(set(seqs))
    assert len(seqs) >= 0.99 * n  # each was asked for three times
    assert seqs == sorted(seqs)  # the store returns them in order of time


def test_a_board_on_another_port_is_the_same_board(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1", "/dev/ttyUSB0")
    rig.run(20)
    rig.unplug("rock-1", keep_power=True)
    rig.run(20)
    rig.plug("rock-1", "/dev/ttyUSB7")
    rig.run(20)
    rig.finish()
    assert whole(rig)
    with rig.look() as store:
        record = store.boards.get("rock-1")
    assert record is not None
    assert record.port == "/dev/ttyUSB7"


def test_a_board_that_lost_its_power_begins_a_new_boot_and_no_reading_is_mixed_up(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    rig.run(20)
    rig.unplug("rock-1")
    rig.run(20)
    rig.plug("rock-1")
    rig.run(20)
    rig.finish()
    first, second = rig.seqs().values()
    assert first == list(range(len(first)))
    assert second == list(range(len(second)))
    samples = rig.samples()
    assert (np.diff(samples.utc_ms) > 0).all()
    assert np.diff(samples.utc_ms).max() > 19_000  # the time without power is a gap, and no line over it


def test_a_board_that_restarts_on_an_open_port_is_noticed(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    rig.run(20)
    rig.boards["rock-1"].simulated.start(rig.now_ms)
    rig.run(20)
    rig.finish()
    assert [len(seqs) for seqs in rig.seqs().values()] == [20, 20]


def test_a_board_that_draws_the_same_boot_number_again_never_overwrites(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=1.0))
    rig.start()
    rig.plug("rock-1")
    rig.run(20)
    board = rig.boards["rock-1"]
    boot = board.simulated.boot
    board.simulated.start(rig.now_ms)
    board.simulated.boot = boot
    board.uvi = 2.0
    rig.run(10)
    rig.finish()
    assert "under its old boot number" in caplog.text
    with rig.look() as store:
        [batch] = store.readings.between("rock-1", 0, NOON_MS + 20_500)
    assert batch.seq.tolist() == list(range(20))
    assert len(set(batch.values[:, 0])) == 1


def test_of_two_boards_with_one_identity_the_one_plugged_in_last_is_believed(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    older, newer = Board(uvi=1.0), Board(uvi=2.0, seed=2)
    rig = Rig(tmp_path / "s.db", older)
    rig.start()
    rig.plug("rock-1")
    rig.run(20)
    rig.boards["other"] = newer
    rig.plug("other")
    rig.run(20)
    assert caplog.text.count("two boards report the same identity") == 1
    rig.unplug("other")
    rig.run(20)
    rig.finish()
    seqs = rig.seqs()
    assert set(seqs) == {older.simulated.boot, newer.simulated.boot}
    samples = rig.samples()
    late = samples.between(NOON_MS + 25_000, NOON_MS + 39_000)
    assert late.uvi == pytest.approx(np.full(len(late), 2.0), abs=0.01)
    end = samples.between(NOON_MS + 45_000, NOON_MS + 61_000)
    assert len(end) >= 15
    assert end.uvi == pytest.approx(np.full(len(end), 1.0), abs=0.01)


def test_garbage_is_counted_and_told_and_never_fatal(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    rig.run(5)
    for data in (
        b"\0" * 3000,
        b"x" * 1_000_000,
        b"\n",
        b"Guru Meditation Error\r\n",
        b"\xff\xfe\n",
        b"bk9 r\n",
    ):
        rig.say("rock-1", data)
        rig.run(0.2)
    rig.run(70)
    told = {record.reason: record for record in caplog.records if hasattr(record, "reason")}
    assert sum(record.n_bytes for record in told.values()) > 1_003_000
    assert "Guru" in told["not a bk1 line"].excerpt
    rig.say("rock-1", b"the last words")
    rig.run(0.1)
    rig.finish()
    assert caplog.records[-1].n_bytes == len("the last words")
    [seqs] = rig.seqs().values()
    assert len(seqs) >= 70


def test_readings_that_come_late_count_for_the_day_of_the_state(tmp_path: Path) -> None:
    states = []

    class Listener:
        def event(self, event: object) -> None: ...
        def open_events(self, events: object, now_ms: int) -> None: ...
        def board(self, state: object) -> None: ...
        def spot(self, state: object) -> None:
            states.append(state)

    # A ring that takes longer to replay than anybody waits with newer readings.
    rig = Rig(tmp_path / "s.db", Board(uvi=2.0, replay_lines_per_s=20), audience=[Listener()])
    rig.plug("rock-1")
    rig.start()
    rig.run(30)
    rig.finish()
    rig.away(600)
    rig.start()
    rig.run(240)
    rig.finish()
    assert whole(rig)
    told = states[-1]
    assert told.dose_uvi_h == pytest.approx(rig.day().profile.dose_uvi_h, rel=0.03)
    assert told.dose_uvi_h == pytest.approx(2.0 * 870 / 3600, rel=0.03)
