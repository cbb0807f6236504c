"""What a keeper does with events from another process, and what the running bridge makes of it."""

import io
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from calibrate.errors import KeeperError
from exposure.events import EventKind
from firmware_host.capture import CaptureWriter
from ingest import acts
from ingest.mqtt.payloads import BoardState, SpotState
from ingest.mqtt.settings import MqttSettings
from ingest.replay import replay
from ingest.store.store import Store
from ingest.telling import event_message
from tests.ingest.rig import CONFIG, Board, Rig, calibration, config

SETTINGS = MqttSettings(host="127.0.0.1", site="home", bridge="room")
MINUTE_S = 60.0


class Heard:
    """An audience that keeps which kinds were open when it was told last."""

    def __init__(self) -> None:
        self.open: dict[str, list[EventKind]] = {}

    def event(self, event: object) -> None:
        pass

    def open_events(self, events: object, now_ms: int) -> None:
        pass

    def spot(self, state: SpotState) -> None:
        self.open[state.spot] = list(state.open_events)

    def board(self, state: BoardState) -> None:
        self.open[state.board] = list(state.open_events)


def started(path: Path, heard: Heard, board: Board) -> Rig:
    rig = Rig(
        path,
        board,
        settings=config(CONFIG + '\n[mqtt]\nhost = "127.0.0.1"\n'),
        audience=[heard],
        event_message=partial(event_message, SETTINGS),
    )
    rig.start()
    rig.plug("rock-1")
    return rig


def close_elsewhere(rig: Rig) -> str:
    """Close the one event that is open, as another process does."""
    with Store.open(rig.store_path) as elsewhere:
        (event,) = elsewhere.events.open()
        closed = acts.close(
            elsewhere, rig.settings, event.identity, rig.bridge.now_utc_ms(rig.clock.moment())
        )
        assert (closed.closing, closed.acknowledged_ms) == ("by hand", closed.closed_ms)
    return closed.identity


def changes(rig: Rig, identity: str) -> list[str]:
    with rig.look() as store:
        said = [json.loads(each.message.payload) for each in store.outbox.pending(1_000, 0)]
    return [each["change"] for each in said if each["identity"] == identity]


def test_an_event_closed_by_hand_neither_stays_nor_comes_back_before_its_cause_has_gone(
    tmp_path: Path,
) -> None:
    heard = Heard()
    rig = started(tmp_path / "s.db", heard, Board(uvi=5.0, cadence_ms=5_000))
    rig.run(5 * MINUTE_S, step_ms=1_000)
    assert heard.open["ledge"] == [EventKind.OVER_CEILING]
    identity = close_elsewhere(rig)
    rig.run(11, step_ms=1_000)
    assert heard.open["ledge"] == []
    rig.run(60 * MINUTE_S, step_ms=5_000)
    assert [event.identity for event in rig.store.events.between(0, 1 << 52)] == [identity]
    rig.boards["rock-1"].uvi = 1.8
    rig.run(10 * MINUTE_S, step_ms=5_000)
    rig.boards["rock-1"].uvi = 5.0
    rig.run(5 * MINUTE_S, step_ms=5_000)
    (again,) = rig.store.events.open()
    assert again.kind is EventKind.OVER_CEILING
    assert again.identity != identity
    rig.finish()
    assert changes(rig, identity) == ["opened", "closed"]


def test_a_silence_closed_by_hand_is_told_again_only_after_the_board_has_spoken(tmp_path: Path) -> None:
    heard = Heard()
    rig = started(tmp_path / "s.db", heard, Board(cadence_ms=5_000))
    rig.run(60, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(60, step_ms=1_000)
    assert heard.open["rock-1"] == [EventKind.BOARD_SILENT]
    identity = close_elsewhere(rig)
    rig.run(11, step_ms=1_000)
    assert heard.open["rock-1"] == []
    rig.run(60 * MINUTE_S, step_ms=5_000)
    assert rig.store.events.open() == []
    rig.plug("rock-1")
    rig.run(60, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(60, step_ms=1_000)
    (again,) = rig.store.events.open()
    assert (again.kind, again.identity != identity) == (EventKind.BOARD_SILENT, True)
    rig.finish()


def closed_by_hand(tmp_path: Path, ring: int = 3_600) -> tuple[Rig, str]:
    """Return a spot that is over its ceiling all along, and the event of that, which somebody has closed."""
    rig = started(tmp_path / "s.db", Heard(), Board(uvi=5.0, cadence_ms=5_000, ring=ring))
    rig.run(5 * MINUTE_S, step_ms=1_000)
    identity = close_elsewhere(rig)
    rig.run(11, step_ms=1_000)
    return rig, identity


@pytest.mark.parametrize("how", [Rig.finish, Rig.die])
def test_an_event_closed_by_hand_stays_closed_over_a_restart_until_its_cause_has_gone(
    tmp_path: Path, how: Callable[[Rig], None]
) -> None:
    rig, identity = closed_by_hand(tmp_path)
    how(rig)
    for _ in range(2):  # what it remembers it hands on
        rig.away(MINUTE_S)
        rig.start()
        rig.run(20 * MINUTE_S, step_ms=5_000)
        assert [event.identity for event in rig.store.events.between(0, 1 << 52)] == [identity]
        how(rig)
    rig.away(MINUTE_S)
    rig.start()
    rig.boards["rock-1"].uvi = 1.8
    rig.run(10 * MINUTE_S, step_ms=5_000)
    how(rig)
    rig.away(MINUTE_S)
    rig.start()
    rig.boards["rock-1"].uvi = 5.0
    rig.run(5 * MINUTE_S, step_ms=5_000)
    (again,) = rig.store.events.open()
    assert (again.kind, again.identity != identity) == (EventKind.OVER_CEILING, True)
    rig.finish()
    assert changes(rig, identity) == ["opened", "closed"]


def test_what_was_closed_by_hand_while_no_daemon_ran_stays_closed_when_one_comes(tmp_path: Path) -> None:
    rig = started(tmp_path / "s.db", Heard(), Board(uvi=5.0, cadence_ms=5_000))
    rig.run(5 * MINUTE_S, step_ms=1_000)
    now_ms = rig.bridge.now_utc_ms(rig.clock.moment())
    rig.finish()
    with Store.open(rig.store_path) as elsewhere:
        (event,) = elsewhere.events.open()
        acts.close(elsewhere, rig.settings, event.identity, now_ms)
    rig.start()
    rig.run(20 * MINUTE_S, step_ms=5_000)
    assert [each.identity for each in rig.store.events.between(0, 1 << 52)] == [event.identity]
    rig.finish()


def test_an_event_closed_by_hand_comes_back_after_a_restart_if_it_is_graver(tmp_path: Path) -> None:
    rig, identity = closed_by_hand(tmp_path)
    rig.finish()
    rig.start()
    rig.run(MINUTE_S, step_ms=1_000)
    rig.boards["rock-1"].uvi = 10.0
    rig.run(MINUTE_S, step_ms=1_000)
    (graver,) = rig.store.events.open()
    assert (graver.evidence["certainty"], graver.identity != identity) == ("far", True)
    assert close_elsewhere(rig) == graver.identity
    rig.run(11, step_ms=1_000)
    rig.finish()
    rig.start()
    rig.run(20 * MINUTE_S, step_ms=5_000)
    assert rig.store.events.open() == []
    rig.finish()


def test_a_ceiling_passed_is_told_anew_after_an_hour_in_which_nobody_could_see_it(tmp_path: Path) -> None:
    rig, identity = closed_by_hand(tmp_path, ring=10)
    rig.finish()
    rig.away(61 * MINUTE_S)
    rig.start()
    rig.run(5 * MINUTE_S, step_ms=5_000)
    (again,) = rig.store.events.open()
    assert (again.kind, again.identity != identity) == (EventKind.OVER_CEILING, True)
    rig.finish()


def test_an_event_closed_by_hand_says_nothing_of_a_ceiling_that_is_another_since(tmp_path: Path) -> None:
    rig, identity = closed_by_hand(tmp_path)
    rig.finish()
    rig.settings = config(CONFIG.replace("ceiling_uvi = 4.0", "ceiling_uvi = 3.0"))
    rig.start()
    rig.run(5 * MINUTE_S, step_ms=5_000)
    (lower,) = rig.store.events.open()
    assert (lower.evidence["limit_uvi"], lower.identity != identity) == (3.0, True)
    rig.finish()


def test_a_silence_closed_by_hand_stays_closed_over_a_restart_until_the_board_has_spoken(
    tmp_path: Path,
) -> None:
    rig = started(tmp_path / "s.db", Heard(), Board(cadence_ms=5_000))
    rig.run(60, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(60, step_ms=1_000)
    identity = close_elsewhere(rig)
    rig.run(11, step_ms=1_000)
    rig.finish()
    rig.away(24 * 60 * MINUTE_S)
    rig.start()
    rig.run(60 * MINUTE_S, step_ms=5_000)
    assert rig.store.events.open() == []
    rig.plug("rock-1")
    rig.run(60, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(60, step_ms=1_000)
    (again,) = rig.store.events.open()
    assert (again.kind, again.identity != identity) == (EventKind.BOARD_SILENT, True)
    rig.finish()


def test_what_was_closed_by_hand_is_forgotten_with_its_spot(tmp_path: Path) -> None:
    rig, identity = closed_by_hand(tmp_path)
    rig.finish()
    rig.settings = config(CONFIG.replace("spot.ledge", "spot.shelf"))
    rig.calibrations = {"shelf": calibration()}
    rig.start()
    rig.run(MINUTE_S, step_ms=1_000)
    assert rig.store.events.causes_last() == []
    closed = rig.store.events.get(identity)
    assert closed is not None
    assert closed.closing == "by hand"
    rig.finish()


def test_a_capture_replayed_into_the_same_store_changes_nothing_of_an_event_closed_by_hand(
    tmp_path: Path,
) -> None:
    rig = started(tmp_path / "s.db", Heard(), Board(uvi=5.0, cadence_ms=5_000))
    rig.run(5 * MINUTE_S, step_ms=1_000)
    close_elsewhere(rig)
    rig.run(5 * MINUTE_S, step_ms=5_000)
    rig.boards["rock-1"].uvi = 1.8
    rig.run(10 * MINUTE_S, step_ms=5_000)
    rig.finish()
    capture = io.BytesIO()
    writer = CaptureWriter(capture)
    for item in rig.traffic:
        writer.write(item)
    before = rig.events()
    with Store.open(rig.store_path) as store:
        replay(rig.settings, rig.calibrations, store, io.BytesIO(capture.getvalue()))
    over = [event for event in rig.events() if event.kind is EventKind.OVER_CEILING]
    assert over == before


def test_acknowledging_a_spot_takes_what_is_open_there_and_nothing_else(tmp_path: Path) -> None:
    rig = started(tmp_path / "s.db", Heard(), Board(uvi=5.0, cadence_ms=5_000))
    rig.run(5 * MINUTE_S, step_ms=1_000)
    rig.unplug("rock-1")
    rig.run(60, step_ms=1_000)
    over, silent = rig.store.events.open()
    (seen,) = acts.acknowledge_spot(rig.store, rig.settings, "ledge", silent.opened_ms + 5)
    assert (seen.identity, seen.acknowledged_ms) == (over.identity, silent.opened_ms + 5)
    assert acts.acknowledge_spot(rig.store, rig.settings, "ledge", silent.opened_ms + 9) == [seen]
    assert rig.store.events.get(silent.identity) == silent
    rig.finish()
    assert changes(rig, over.identity) == ["opened", "acknowledged"]


def test_what_is_not_there_is_refused_in_words(tmp_path: Path) -> None:
    settings = config()
    with Store.open(tmp_path / "s.db") as store:
        for act in (acts.acknowledge, acts.close):
            with pytest.raises(KeeperError, match=r"no event 'over_ceiling\.ledge\.1'"):
                act(store, settings, "over_ceiling.ledge.1", 0)
        with pytest.raises(KeeperError, match=r"no spot 'lege'.*Did you mean 'ledge'"):
            acts.acknowledge_spot(store, settings, "lege", 0)
