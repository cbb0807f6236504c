"""The daemon's events at a real subscriber on a real broker, whatever happens to either end."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from firmware_host.simulated.bench import PtyBench
from ingest.mqtt.settings import MqttSettings
from tests.baskline.running import Daemon, Room, now_ms, until
from tests.brokers import Broker, Listener
from tests.ingest.rig import Board

Run = Callable[..., Daemon]
Listen = Callable[..., Listener]

# Every passing of the ceiling is an event at once, and so is every return: nothing to wait for.
AT_ONCE = "over_hold_s = 0\nback_hold_s = 0\n"


@pytest.fixture
def own_broker(start_broker: Callable[..., Broker], tmp_path: Path) -> Broker:
    """Start a broker of the test's own, which keeps its sessions over a restart."""
    return start_broker("allow_anonymous true", "persistence true", f"persistence_location {tmp_path}/")


@pytest.fixture
def settings(own_broker: Broker) -> MqttSettings:
    return MqttSettings(host="127.0.0.1", port=own_broker.port, site="home", bridge="room")


@pytest.fixture
def board(room: Room, ports: PtyBench, settings: MqttSettings) -> Board:
    room.configure(broker=settings, rules=AT_ONCE)
    board = Board(cadence_ms=50)
    ports.add(board.simulated, now_ms())
    return board


class Patient:
    """A subscriber whose session the broker keeps while either of them is away."""

    def __init__(self, settings: MqttSettings, topic: str) -> None:
        self.heard: list[MQTTMessage] = []
        client = Client(CallbackAPIVersion.VERSION2, "patient", protocol=MQTTProtocolVersion.MQTTv5)
        client.on_message = lambda _client, _userdata, message: self.heard.append(message)
        client.on_connect = lambda *_: client.subscribe(topic, qos=1)
        client.reconnect_delay_set(1, 1)
        kept = Properties(PacketTypes.CONNECT)
        kept.SessionExpiryInterval = 3600
        client.connect(settings.host, settings.port, clean_start=False, properties=kept)
        client.loop_start()
        until(client.is_connected, "the subscriber on the broker")
        self.client = client

    def changes(self) -> list[tuple[str, str]]:
        """Return identity and change of each message, in the order of their first coming."""
        said = [json.loads(message.payload) for message in self.heard]
        return list(dict.fromkeys((each["identity"], each["change"]) for each in said))

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def patient(settings: MqttSettings) -> Iterator[Patient]:
    patient = Patient(settings, "baskline/home/room/event")
    yield patient
    patient.close()


def changes_stored(room: Room) -> list[tuple[str, str]]:
    """Return every change that the store knows of, in order of time."""
    with room.look() as store:
        events = store.events.between(0, 1 << 52)
    changes = [(event.opened_ms, event.identity, "opened") for event in events]
    changes += [
        (event.closed_ms, event.identity, "closed")
        for event in events
        if event.closed_ms is not None and event.closed_ms != event.opened_ms
    ]
    return [(identity, change) for _, identity, change in sorted(changes)]


def over(room: Room) -> int:
    with room.look() as store:
        return sum(event.kind == "over_ceiling" for event in store.events.between(0, 1 << 52))


def pass_the_ceiling(room: Room, board: Board) -> None:
    """Let the UVI go over the ceiling and come back, so that an event opens and closes."""
    n = over(room)
    board.uvi = 6.0
    until(lambda: over(room) > n, "an event in the store")
    board.uvi = 1.8

    def closed() -> bool:
        with room.look() as store:
            return not [event for event in store.events.open() if event.kind == "over_ceiling"]

    until(closed, "its end in the store")


def test_an_event_reaches_a_subscriber_and_is_not_retained_and_state_is(
    room: Room, board: Board, run: Run, settings: MqttSettings, listen: Listen
) -> None:
    listener = listen(settings, "baskline/#")
    daemon = run()
    room.until_stored(10)
    board.uvi = 6.0
    message = listener.until(lambda heard: heard.topic == "baskline/home/room/event")
    said = json.loads(message.payload)
    assert (said["event_type"], said["subject"], message.qos, message.retain) == (
        "over_ceiling_opened",
        "ledge",
        1,
        False,
    )
    state = listener.until(lambda heard: heard.topic.endswith("ledge/state") and b"over_c" in heard.payload)
    shown = json.loads(state.payload)
    assert shown["place"] == "over_ceiling"
    assert shown["uvi"] == pytest.approx(6.0, abs=0.05)

    late = listen(settings, "baskline/#", "homeassistant/#")
    retained: dict[str, bytes] = {}
    while len(retained) < 4 or not any("homeassistant" in topic for topic in retained):
        message = late.next()
        if message.retain:
            retained[message.topic] = message.payload
    assert retained["baskline/home/room/availability"] == b"online"
    assert json.loads(retained["baskline/home/room/events/open"])["count"] >= 1
    assert "baskline/home/room/spot/ledge/state" in retained
    assert "baskline/home/room/event" not in retained
    assert daemon.stop()[0] == 0


def test_a_notice_comes_with_the_event_and_what_another_process_closes_stays_closed(
    room: Room, board: Board, run: Run, settings: MqttSettings, listen: Listen
) -> None:
    listener = listen(settings, "baskline/home/room/event", "baskline/home/room/notice")
    states = listen(settings, "baskline/home/room/spot/ledge/state")
    daemon = run()
    room.until_stored(10)
    board.uvi = 6.0
    said = [json.loads(listener.next().payload) for _ in range(2)]
    assert [each["event_type"] for each in said] == ["over_ceiling_opened", "new"]
    opened, notice = said
    assert (notice["schema"], notice["urgent"]) == ("baskline.notice/1", True)
    assert notice["events"] == [opened["identity"]]
    states.until(lambda heard: json.loads(heard.payload)["open_events"] == ["over_ceiling"])

    done = room.command("close", opened["identity"])
    assert done.returncode == 0, done.stderr
    closed = json.loads(listener.next().payload)
    assert (closed["event_type"], closed["closing"]) == ("over_ceiling_closed", "by hand")
    over = states.until(lambda heard: json.loads(heard.payload)["open_events"] == [])
    assert json.loads(over.payload)["place"] == "over_ceiling"
    assert daemon.stop()[0] == 0
    assert listener.heard.empty()


def test_a_clean_end_and_a_death_are_both_told_as_offline(
    room: Room, board: Board, run: Run, settings: MqttSettings, listen: Listen
) -> None:
    listener = listen(settings, "baskline/home/room/availability")
    for end in (Daemon.stop, Daemon.kill):
        daemon = run()
        assert listener.until(lambda heard: heard.payload == b"online").payload
        end(daemon)
        assert listener.next().payload == b"offline"


def test_events_while_the_broker_is_away_arrive_when_it_is_back_in_order(
    room: Room, board: Board, run: Run, own_broker: Broker, patient: Patient
) -> None:
    daemon = run()
    room.until_stored(10)
    pass_the_ceiling(room, board)
    until(lambda: len(patient.changes()) >= 2, "the first event at the subscriber")
    own_broker.stop()
    daemon.until_logged("nothing answers on this port")
    for _ in range(3):
        pass_the_ceiling(room, board)
    own_broker.start()
    until(lambda: set(patient.changes()) >= set(changes_stored(room)), "all of them at the subscriber")
    assert daemon.stop()[0] == 0
    heard = [change for change in patient.changes() if change[0].startswith("over_ceiling")]
    stored = [change for change in changes_stored(room) if change[0].startswith("over_ceiling")]
    assert heard == stored
    assert len(heard) == 8


def n_waiting(room: Room) -> int:
    with room.look() as store:
        return store.outbox.size()


def test_events_of_a_daemon_that_dies_before_it_could_tell_are_told_by_the_next_one(
    room: Room, board: Board, run: Run, own_broker: Broker, patient: Patient
) -> None:
    daemon = run()
    room.until_stored(10)
    own_broker.stop()
    daemon.until_logged("nothing answers on this port")
    pass_the_ceiling(room, board)
    pass_the_ceiling(room, board)
    daemon.kill()
    own_broker.start()
    again = run()
    until(lambda: set(patient.changes()) >= set(changes_stored(room)), "all of them at the subscriber")
    # The broker's word that it has them comes to the daemon after they have come to the subscriber.
    until(lambda: n_waiting(room) == 0, "nothing that waits")
    assert again.stop()[0] == 0
    assert len([change for change in patient.changes() if change[0].startswith("over_ceiling")]) == 4


def test_without_its_broker_the_daemon_starts_reads_and_stores(
    room: Room, board: Board, run: Run, own_broker: Broker
) -> None:
    own_broker.stop()
    daemon = run()
    line = daemon.until_logged("nothing answers on this port")
    assert line["do"] == "Start the broker, or check mqtt.port"
    room.until_stored(40)
    assert daemon.stop()[0] == 0
