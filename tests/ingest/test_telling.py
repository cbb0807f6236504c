"""What the broker is told comes from the bridge as it is; here up to the publisher's door."""

import json
from collections.abc import Collection, Mapping
from functools import partial
from pathlib import Path

import pytest

from exposure.events import EventKind
from ingest.mqtt.payloads import Change
from ingest.mqtt.settings import MqttSettings
from ingest.telling import BrokerAudience, event_message
from tests.ingest.rig import Board, Rig, config

SETTINGS = MqttSettings(host="127.0.0.1", site="home", bridge="room")


class Door:
    """Keeps what is handed to the publisher."""

    def __init__(self) -> None:
        self.nudges = 0
        self.discovery: Mapping[str, str] = {}
        self.state_topics: Collection[str] = ()
        self.states: dict[str, list[dict[str, object]]] = {}

    def nudge(self) -> None:
        self.nudges += 1

    def declare(self, discovery: Mapping[str, str], state_topics: Collection[str]) -> None:
        self.discovery, self.state_topics = discovery, state_topics

    def publish_state(self, topic: str, payload: str) -> None:
        self.states.setdefault(topic, []).append(json.loads(payload))

    def latest(self, topic: str) -> dict[str, object]:
        return self.states[f"baskline/home/room/{topic}"][-1]


@pytest.fixture
def door() -> Door:
    return Door()


def started(tmp_path: Path, door: Door) -> Rig:
    settings = config()
    audience = BrokerAudience(SETTINGS, settings, door, nudge=door.nudge)  # type: ignore[arg-type]
    rig = Rig(tmp_path / "s.db", Board(), audience=[audience], event_message=partial(event_message, SETTINGS))
    rig.start()
    rig.plug("rock-1")
    rig.run(21)
    return rig


def test_every_state_that_is_told_was_declared(tmp_path: Path, door: Door) -> None:
    rig = started(tmp_path, door)
    assert set(door.states) == set(door.state_topics)
    assert any("/ledge" in topic or "ledge" in payload for topic, payload in door.discovery.items())
    rig.finish()


def test_the_spots_state_is_its_latest_sample_and_its_day(tmp_path: Path, door: Door) -> None:
    rig = started(tmp_path, door)
    state = door.latest("spot/ledge/state")
    assert state["uvi"] == pytest.approx(1.8, abs=0.01)
    assert state["u_uvi"] > 0  # type: ignore[operator]
    assert state["place"] == "in_band"
    assert state["dose_uvi_h"] == pytest.approx(1.8 * 19 / 3600, abs=0.001)
    assert state["flags"] == []
    assert state["open_events"] == []
    board = door.latest("board/rock-1/state")
    assert (board["connected"], board["firmware"], board["lost_readings"]) == (True, "simulated-1", 0)
    rig.finish()


def test_what_is_open_is_retained_at_once_and_a_quiet_board_is_not_told_as_the_present(
    tmp_path: Path, door: Door
) -> None:
    rig = started(tmp_path, door)
    rig.boards["rock-1"].uvi = 6.0
    while not rig.store.events.open():
        nudges = door.nudges
        rig.run(0.2)
    assert door.nudges > nudges  # so that the publisher sends it at once
    rig.run(1.2)
    assert door.latest("spot/ledge/state")["open_events"] == ["over_ceiling"]
    assert door.latest("events/open")["count"] == 1
    rig.unplug("rock-1")
    rig.run(75)
    state = door.latest("spot/ledge/state")
    assert state["uvi"] is None
    assert state["place"] == "unknown"
    assert door.latest("board/rock-1/state")["connected"] is False
    assert "board_silent" in door.latest("board/rock-1/state")["open_events"]  # type: ignore[operator]
    rig.finish()


def test_an_acknowledgement_from_elsewhere_is_told_and_kept_to_the_end(tmp_path: Path, door: Door) -> None:
    rig = started(tmp_path, door)
    rig.boards["rock-1"].uvi = 6.0
    rig.run(90)
    [event] = [event for event in rig.store.events.open() if event.kind is EventKind.OVER_CEILING]
    rig.store.events.acknowledge(event.identity, rig.clock.moment().wall_ms)
    rig.run(11)
    [shown] = door.latest("events/open")["events"]  # type: ignore[misc]
    assert shown["acknowledged_at"] is not None
    rig.boards["rock-1"].uvi = 1.8
    rig.run(310)
    said = [json.loads(waiting.message.payload) for waiting in rig.store.outbox.pending(20)]
    changes = [each["change"] for each in said if each["kind"] == "over_ceiling"]
    assert changes == [Change.OPENED, Change.CLOSED]
    [closed] = [each for each in said if each["change"] == "closed"]
    assert closed["acknowledged_at"] is not None
    rig.finish()
