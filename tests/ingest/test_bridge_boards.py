"""What goes wrong with a board itself: it starts again and again, its time leaps, its boot number is old."""

import io
from collections.abc import Callable
from pathlib import Path

import pytest

from exposure.events import Event, EventKind
from firmware_host.capture import CaptureWriter
from firmware_host.simulated.board import SimulatedBoard
from ingest.replay import replay
from ingest.store.store import Store
from tests.ingest.causes import by_leaps, by_restarts
from tests.ingest.rig import CONFIG, Board, PlainBoard, Rig, config


class Forgetful(SimulatedBoard):
    """A board that draws the same boot number at each start."""

    def start(self, now_ms: int) -> None:
        super().start(now_ms)
        self.boot = "00c0ffee"


def of_boards(events: list[Event]) -> list[Event]:
    return [event for event in events if event.subject_kind == "board"]


def recorded(rig: Rig) -> bytes:
    stream = io.BytesIO()
    writer = CaptureWriter(stream)
    for item in rig.traffic:
        writer.write(item)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("cause", "kind"),
    [(by_restarts, EventKind.BOARD_RESTARTING), (by_leaps, EventKind.BOARD_CLOCK_WRONG)],
)
def test_a_capture_gives_the_same_events_of_a_board_as_the_live_run(
    tmp_path: Path, cause: Callable[[Path, None], Rig], kind: EventKind
) -> None:
    rig = cause(tmp_path, None)
    live = rig.events()
    assert [event.kind for event in of_boards(live)] == [kind]
    with rig.look() as store:
        history = [store.events.history(event.identity) for event in live]
    with Store.open(tmp_path / "again.db") as store:
        replay(rig.settings, rig.calibrations, store, io.BytesIO(recorded(rig)))
        again = store.events.between(0, 1 << 52)
        assert again == live
        assert [store.events.history(event.identity) for event in again] == history


def test_a_board_that_starts_under_its_old_boot_number_is_told_with_what_it_costs(tmp_path: Path) -> None:
    board = Board()
    board.simulated = Forgetful(board.simulated.model, board.simulated._channels_at, seed=1)
    rig = Rig(tmp_path / "s.db", board)
    rig.start()
    rig.plug("rock-1")
    rig.run(60)
    assert of_boards(rig.events()) == []
    board.simulated.start(rig.now_ms)
    rig.run(20)
    rig.finish()
    (event,) = of_boards(rig.events())
    assert event.kind is EventKind.BOARD_RESTARTING
    assert "old boot number 00c0ffee" in event.sentence
    assert "draw a new boot number" in event.advice


def test_a_plain_board_that_comes_and_goes_is_not_said_to_start(tmp_path: Path) -> None:
    mapping = '{ format = "csv", channels = { uva_counts = 0, temperature_c = 1 }, port = "/dev/ttyS*" }'
    text = CONFIG.replace('label = "Behind the rock"\n', f'label = "Behind the rock"\nmapping = {mapping}\n')
    board = Board()
    board.simulated = PlainBoard(board.simulated.model, board.simulated._channels_at, seed=1)
    rig = Rig(tmp_path / "s.db", board, settings=config(text))
    rig.start()
    for _ in range(5):
        rig.plug("rock-1", "/dev/ttyS3")
        rig.run(20)
        rig.unplug("rock-1")
        rig.run(5)
    rig.finish()
    (event,) = of_boards(rig.events())
    assert event.sentence.startswith("came back on its port 4 times within")


def test_a_cable_that_is_pulled_from_a_board_that_keeps_its_power_is_no_restart(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    for _ in range(8):
        rig.plug("rock-1")
        rig.run(10)
        rig.unplug("rock-1", keep_power=True)
        rig.run(3)
    rig.finish()
    assert of_boards(rig.events()) == []
