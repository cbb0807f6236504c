"""What should reach a person, decided in a running bridge."""

import io
import json
import socket
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from calibrate.errors import KeeperError
from exposure.events import EventKind
from exposure.kinds import new_event
from firmware_host.capture import CaptureWriter
from firmware_host.clock import SystemClock
from ingest import acts
from ingest.attending import Attending, name_of_subject
from ingest.config import Config
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics
from ingest.replay import replay
from ingest.store.store import Store
from ingest.telling import event_message, notice_message
from tests.brokers import PATIENCE_S, Broker, Listener
from tests.ingest.rig import CONFIG, HOUR_MS, NOON_MS, Board, Rig, config

SETTINGS = MqttSettings(host="127.0.0.1", site="home", bridge="room")
MQTT = '\n[mqtt]\nhost = "127.0.0.1"\n'
MINUTE_S = 60.0
N_BOARDS = 30


def hub_of_boards() -> Config:
    """A room with a hub full of boards, one spot each."""
    text = CONFIG + MQTT
    for n in range(1, N_BOARDS):
        text += f"""
[board.b{n}]
identity = "rock-{n + 1}"
label = "Board {n + 1}"

[spot.s{n}]
label = "Spot {n + 1}"
enclosure = "garden"
lamp = "tube"
board = "b{n}"
band = {{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }}
"""
    return config(text)


def rig_of(path: Path, *boards: Board, settings: Config | None = None, **more: Any) -> Rig:
    settings = config(CONFIG + MQTT) if settings is None else settings
    return Rig(
        path,
        *boards,
        settings=settings,
        event_message=partial(event_message, SETTINGS),
        notice_message=notice_message(SETTINGS, settings),
        **more,
    )


def outgoing(rig: Rig, topic: str) -> list[dict[str, Any]]:
    """Return all messages that ever went into the outbox for a topic; nobody takes them out here."""
    with rig.look() as store:
        waiting = store.outbox.pending(10_000, 0)
    return [
        json.loads(each.message.payload)
        for each in waiting
        if each.message.topic == f"baskline/home/room/{topic}"
    ]


def notices(rig: Rig) -> list[tuple[str, str]]:
    return [(each["why"], each["title"]) for each in outgoing(rig, "notice")]


def test_a_hub_that_dies_with_thirty_boards_is_one_notice_and_one_more_when_it_is_back(
    tmp_path: Path,
) -> None:
    boards = [
        Board(f"rock-{n + 1}", seed=n, cadence_ms=5_000 if n % 2 else 10_000, ring=4) for n in range(N_BOARDS)
    ]
    rig = rig_of(tmp_path / "s.db", *boards, settings=hub_of_boards())
    rig.start()
    for board in boards:
        rig.plug(board.identity)
    rig.run(60, step_ms=5_000)
    for board in boards:
        rig.unplug(board.identity)
    rig.run(10 * MINUTE_S, step_ms=5_000)
    assert len(outgoing(rig, "event")) == N_BOARDS
    (told,) = outgoing(rig, "notice")
    assert (told["event_type"], told["kind"], told["count"]) == ("new", "board_silent", N_BOARDS)
    assert (told["urgent"], told["escalated"], told["severity"]) == (False, False, "today")
    assert told["title"].startswith("Board silent: Behind the rock, Board 10, ")
    assert "And 20 more." in told["text"]

    rig.die()  # and the bridge with it: the broker says offline, and the next run nothing twice
    rig.start()
    rig.run(30 * MINUTE_S, step_ms=5_000)
    assert len(outgoing(rig, "notice")) == 1

    for board in boards:
        rig.plug(board.identity)
        rig.run(3, step_ms=1_000)
    rig.run(10 * MINUTE_S, step_ms=5_000)
    rig.finish()
    new, over = outgoing(rig, "notice")
    assert new == told
    assert (over["why"], over["kind"], over["count"]) == ("over", "board_silent", N_BOARDS)
    assert "spoke again after" in over["text"]


def test_a_bridge_that_goes_with_its_hub_is_one_last_will_and_one_notice(
    tmp_path: Path, broker: Broker, listen: Callable[..., Listener]
) -> None:
    settings = MqttSettings(
        host="127.0.0.1", port=broker.port, site="last-will", bridge="room", discovery=False
    )
    topics = Topics(settings)
    listener = listen(settings, topics.availability, topics.notice)
    boards = [Board(f"rock-{n + 1}", seed=n, cadence_ms=5_000) for n in range(N_BOARDS)]
    room = hub_of_boards()
    rig = rig_of(tmp_path / "s.db", *boards, settings=room)
    rig.notice_message = notice_message(settings, room)
    rig.start()
    for board in boards:
        rig.plug(board.identity)
    rig.run(60, step_ms=5_000)

    def connected() -> Publisher:
        publisher = Publisher(settings, rig.store.outbox, SystemClock(), wake=lambda: None, report=refuse)
        until(publisher, lambda: publisher.connected and not publisher._due)
        return publisher

    publisher = connected()
    assert listener.next().payload == b"online"
    for board in boards:
        rig.unplug(board.identity)
    rig.run(8 * MINUTE_S, step_ms=5_000)
    until(publisher, lambda: not rig.store.outbox.size())
    assert json.loads(listener.next().payload)["count"] == N_BOARDS

    publisher._link._client.socket().shutdown(socket.SHUT_RDWR)  # type: ignore[union-attr]
    assert listener.next().payload == b"offline"
    publisher.close()
    rig.die()
    rig.start()
    rig.run(8 * MINUTE_S, step_ms=5_000)
    publisher = connected()
    assert listener.next().payload == b"online"
    assert rig.store.outbox.size() == 0
    publisher.close()
    assert listener.next().payload == b"offline"
    assert listener.heard.empty()
    rig.finish()


def refuse(error: KeeperError) -> None:
    raise error


def until(publisher: Publisher, condition: Callable[[], object]) -> None:
    clock = SystemClock()
    deadline_ms = clock.moment().mono_ms + 1000 * PATIENCE_S
    while not condition():
        publisher.pump()
        assert clock.moment().mono_ms < deadline_ms
        clock.wait_s(0.01)


def test_what_is_for_now_is_told_with_the_keepers_names_and_again_until_acknowledged(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000))
    rig.start()
    rig.plug("rock-1")
    rig.run(20 * MINUTE_S, step_ms=5_000)
    first, again = outgoing(rig, "notice")
    assert (first["why"], first["title"], first["urgent"]) == ("new", "Over the ceiling: Ledge", True)
    assert first["text"].startswith("Ledge: above the ceiling, ")
    assert "\nUnplug the lamp before touching it" in first["text"]
    (event,) = rig.store.events.open()
    assert first["events"] == again["events"] == [event.identity]
    assert again["why"] == "again"

    with Store.open(rig.store_path) as elsewhere:
        acts.acknowledge(elsewhere, rig.settings, event.identity, NOON_MS + 21 * 60_000)
    rig.run(3 * 60 * MINUTE_S, step_ms=10_000)
    rig.boards["rock-1"].uvi = 1.8
    rig.run(20 * MINUTE_S, step_ms=10_000)
    rig.finish()
    assert len(outgoing(rig, "notice")) == 2
    assert [each["change"] for each in outgoing(rig, "event")] == [
        "opened",
        "acknowledged",
        "closed",
        "opened",
    ]


def test_a_run_that_is_killed_remembers_what_it_has_told(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000))
    rig.start()
    rig.plug("rock-1")
    rig.run(5 * MINUTE_S, step_ms=5_000)
    for _ in range(3):
        rig.die()
        rig.start()
        rig.run(2 * MINUTE_S, step_ms=5_000)
    assert [why for why, _ in notices(rig)] == ["new"]
    rig.run(6 * MINUTE_S, step_ms=5_000)
    rig.finish()
    assert [why for why, _ in notices(rig)] == ["new", "again"]


@pytest.mark.parametrize("step_h", [-30, -3, 3, 300])
def test_a_clock_that_is_set_has_nothing_told_twice_and_no_reminder_lost(tmp_path: Path, step_h: int) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000), synchronised=step_h < 0)
    rig.start()
    rig.plug("rock-1")
    rig.run(5 * MINUTE_S, step_ms=5_000)
    assert [why for why, _ in notices(rig)] == ["new"]
    rig.clock.set_wall_ms(rig.clock.moment().wall_ms + step_h * HOUR_MS)
    rig.clock.synchronised = True
    rig.run(9 * MINUTE_S, step_ms=5_000)
    assert [why for why, _ in notices(rig)] == ["new"]
    rig.run(4 * MINUTE_S, step_ms=5_000)
    assert [why for why, _ in notices(rig)] == ["new", "again"]
    rig.finish()


def test_what_a_clock_that_was_ahead_has_told_is_still_told_again(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000))
    rig.clock.set_wall_ms(NOON_MS + 9_000 * HOUR_MS)
    rig.start()
    rig.plug("rock-1")
    rig.run(5 * MINUTE_S, step_ms=5_000)
    rig.die()
    rig.clock.set_wall_ms(NOON_MS)
    rig.start()
    rig.run(20 * MINUTE_S, step_ms=5_000)
    rig.finish()
    assert [why for why, _ in notices(rig)] == ["new", "again"]


def test_what_can_wait_is_told_in_the_morning_and_what_cannot_at_night(tmp_path: Path) -> None:
    board = Board(uvi=evening, cadence_ms=60_000)
    rig = rig_of(tmp_path / "s.db", board, Board("rock-2"), settings=two_boards())
    rig.start()
    rig.plug("rock-1")
    rig.run(10.5 * 60 * MINUTE_S, step_ms=60_000)
    assert notices(rig) == [("new", "Board silent: Second")]  # at noon, from the start
    rig.plug("rock-2")
    rig.run(20, step_ms=1_000)
    rig.unplug("rock-2")
    rig.run(9 * 60 * MINUTE_S, step_ms=60_000)
    rig.finish()
    told = outgoing(rig, "notice")
    at_night = [each for each in told if each["at"][11:16] >= "22:00" or each["at"][11:16] < "07:00"]
    assert {each["kind"] for each in at_night} == {"over_ceiling"}
    morning = [each for each in told if each["at"].startswith("2026-05-30T07:00")]
    assert [(each["why"], each["kind"]) for each in morning] == [
        ("new", "board_silent"),
        ("over", "board_silent"),
    ]


def evening(at_ms: float) -> float:
    """In the band, a little unsteady, until midnight; then over the ceiling."""
    return (1.8 if at_ms < 10_000_000 + 12 * HOUR_MS else 5.0) + at_ms // 60_000 % 7 * 0.02


def two_boards() -> Config:
    return config(CONFIG + MQTT + '\n[board.second]\nidentity = "rock-2"\nlabel = "Second"\n')


def test_a_replay_tells_nobody_and_remembers_nothing_as_told(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000))
    rig.start()
    rig.plug("rock-1")
    rig.run(5 * MINUTE_S, step_ms=5_000)
    rig.finish()
    capture = io.BytesIO()
    writer = CaptureWriter(capture)
    for item in rig.traffic:
        writer.write(item)
    with Store.open(tmp_path / "again.db") as store:
        replay(rig.settings, rig.calibrations, store, io.BytesIO(capture.getvalue()))
        assert [event.kind for event in store.events.open()] == [EventKind.OVER_CEILING]
        assert store.outbox.size() == 0
        assert store.told.all() == {}


def test_an_undone_transaction_has_told_nothing(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(uvi=5.0, cadence_ms=5_000))
    rig.start()
    rig.plug("rock-1")
    rig.run(65, step_ms=5_000)
    (event,) = rig.store.events.open()
    assert set(rig.store.told.all()) == {event.identity}
    rig.finish()
    with Store.open(tmp_path / "other.db") as store:
        attending = Attending(store, rig.settings, notice_message(SETTINGS, rig.settings), NOON_MS)
        with pytest.raises(ZeroDivisionError), store.transaction():  # noqa: PT012
            store.events.put(event)
            attending.attend([event], event.opened_ms)
            raise ZeroDivisionError
        assert (store.told.all(), store.outbox.size()) == ({}, 0)


def test_spots_of_one_name_are_told_apart_by_their_enclosures() -> None:
    text = CONFIG + '\n[board.b]\nidentity = "b-1"\nlabel = "B"\n\n[enclosure.shed]\nlabel = "Shed"\n'
    spot = CONFIG[CONFIG.index("[spot.ledge]") :]
    text += (
        spot.replace("[spot.ledge]", "[spot.other]").replace('"garden"', '"shed"').replace('"rock"', '"b"')
    )
    name_of = name_of_subject(config(text))
    stuck = [
        new_event(EventKind.SENSOR_STUCK, key, NOON_MS, "stuck", {}) for key in ("ledge", "other", "gone")
    ]
    assert [name_of(event) for event in stuck] == ["Ledge (Rock garden)", "Ledge (Shed)", "gone"]


def test_the_events_of_what_has_left_the_configuration_end_with_it(tmp_path: Path) -> None:
    rig = rig_of(tmp_path / "s.db", Board(), settings=two_boards())
    rig.start()
    rig.plug("rock-1")
    rig.run(320, step_ms=5_000)
    assert [event.subject for event in rig.store.events.open()] == ["rock-2"]
    rig.finish()
    rig.settings = config(CONFIG + MQTT)
    rig.start()
    rig.run(10)
    rig.finish()
    (event,) = rig.events()
    assert event.closing == "this board is no longer watched"
