"""What comes in is in the store, in one commit with what follows from it."""

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from exposure.events import Event, EventKind
from ingest.mqtt.payloads import Change
from ingest.mqtt.settings import MqttSettings
from ingest.store.outbox import OutgoingMessage
from ingest.telling import event_message
from tests.ingest.rig import NOON_MS, Board, Rig

SETTINGS = MqttSettings(host="127.0.0.1", site="home", bridge="room")
to_outbox = partial(event_message, SETTINGS)


def over(events: list[Event]) -> list[Event]:
    return [event for event in events if event.kind is EventKind.OVER_CEILING]


def until_over(rig: Rig, seconds: float = 120) -> None:
    """Let the lamp give too much until that is an event."""
    rig.boards["rock-1"].uvi = 6.0
    end_ms = rig.now_ms + round(seconds * 1000)
    while not over(rig.store.events.open()):
        assert rig.now_ms < end_ms
        rig.run(0.2)


def test_a_reading_becomes_a_stored_reading_a_sample_an_event_and_a_message(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), event_message=to_outbox)
    rig.start()
    rig.plug("rock-1")
    rig.run(10)
    until_over(rig)
    [event] = over(rig.store.events.open())
    [waiting] = rig.store.outbox.pending(10)
    assert waiting.message.qos == 1
    assert not waiting.message.retain
    assert event.identity.encode() in waiting.message.payload
    rig.finish()

    [(_, seqs)] = rig.seqs().items()
    assert seqs == list(range(len(seqs)))
    samples = rig.samples()
    assert len(samples) == len(seqs)
    assert samples.uvi[:5] == pytest.approx(np.full(5, 1.8), abs=0.01)
    assert samples.utc_ms[0] == NOON_MS + 1000
    assert (np.diff(samples.utc_ms) == 1000).all()
    # 60 s really over the ceiling, from the first sample that is: no sooner, no later.
    first_over_ms = int(samples.utc_ms[np.argmax(samples.uvi > 4)])
    assert event.opened_ms == first_over_ms + 60_000


def test_an_event_is_never_in_the_store_without_the_reading_that_it_came_from(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(), event_message=to_outbox)
    rig.start()
    rig.plug("rock-1")
    rig.run(5)
    rig.boards["rock-1"].uvi = 6.0
    # Seen from outside after every step, as if the power were cut there.
    for _ in range(400):
        rig.run(0.2)
        with rig.look() as store:
            events, waiting = over(store.events.open()), store.outbox.size()
            last_ms = store.readings.last_utc_ms("rock-1") or 0
        assert len(events) == waiting
        assert all(event.opened_ms <= last_ms for event in events)
    assert events
    rig.finish()


def test_a_commit_that_fails_loses_nothing_and_doubles_nothing(tmp_path: Path) -> None:
    failing = True

    def message(event: Event, change: Change) -> OutgoingMessage:
        if failing:
            raise RuntimeError("as if something in the middle of it were broken")
        return to_outbox(event, change)

    rig = Rig(tmp_path / "s.db", Board(), event_message=message)
    rig.start()
    rig.plug("rock-1")
    rig.run(10)
    with pytest.raises(RuntimeError):
        until_over(rig)
    n_said = rig.boards["rock-1"].simulated.next_seq
    with rig.look() as store:
        assert store.events.open() == []
        assert store.outbox.size() == 0
    for _ in range(3):
        with pytest.raises(RuntimeError):
            rig.bridge.commit()
    failing = False
    rig.bridge.commit()
    assert len(over(rig.store.events.open())) == 1
    assert rig.store.outbox.size() == 1
    rig.run(5)
    rig.finish()
    [(_, seqs)] = rig.seqs().items()
    assert seqs == list(range(rig.boards["rock-1"].simulated.next_seq))
    assert len(seqs) >= n_said
    assert len(over(rig.events())) == 1


def test_a_bug_in_the_rules_costs_no_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rig = Rig(tmp_path / "s.db", Board())
    rig.start()
    rig.plug("rock-1")
    rig.run(10)

    def broken(_batch: object) -> list[Event]:
        raise ZeroDivisionError

    monkeypatch.setattr(rig.bridge.spots["ledge"], "take", broken)
    with pytest.raises(ZeroDivisionError):
        rig.run(5)
    rig.finish()  # as the daemon does after any failure
    [(_, seqs)] = rig.seqs().items()
    assert seqs == list(range(rig.boards["rock-1"].simulated.next_seq))


def test_a_listener_that_fails_costs_nothing_and_doubles_nothing(tmp_path: Path) -> None:
    class Broken:
        def event(self, event: Event) -> None:
            raise ZeroDivisionError

        def open_events(self, events: object, now_ms: int) -> None: ...
        def spot(self, state: object) -> None: ...
        def board(self, state: object) -> None: ...

    rig = Rig(tmp_path / "s.db", Board(), audience=[Broken()], event_message=to_outbox)
    rig.start()
    rig.plug("rock-1")
    with pytest.raises(ZeroDivisionError):
        until_over(rig)
    rig.run(20)
    rig.finish()
    [(_, seqs)] = rig.seqs().items()
    assert seqs == list(range(rig.boards["rock-1"].simulated.next_seq))
    assert len(over(rig.events())) == 1
    with rig.look() as store:
        assert store.outbox.size() == 1


def test_readings_wait_no_longer_than_the_commit_interval(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(cadence_ms=100))
    rig.start()
    rig.plug("rock-1")
    rig.run(10)
    most = 0
    for _ in range(100):
        rig.run(0.1, step_ms=100)
        with rig.look() as store:
            kept = sum(map(len, store.readings.between("rock-1", 0, 1 << 52)))
        most = max(most, rig.boards["rock-1"].simulated.next_seq - kept)
    assert most <= 22  # two seconds at 10 Hz, and the step that ends them
    rig.finish()


def test_an_event_that_grows_graver_is_told_anew_though_it_was_seen(tmp_path: Path) -> None:
    rig = Rig(tmp_path / "s.db", Board(uvi=4.02), event_message=to_outbox)
    rig.start()
    rig.plug("rock-1")
    rig.run(16 * 60, step_ms=1000)  # a quarter of an hour probably over
    [event] = over(rig.store.events.open())
    assert event.severity == "today"
    rig.store.events.acknowledge(event.identity, NOON_MS + 16 * 60_000)
    rig.boards["rock-1"].uvi = 9.0
    rig.run(90)
    [event] = over(rig.store.events.open())
    assert event.severity == "now"
    assert event.acknowledged_ms is None
    said = [waiting.message.payload for waiting in rig.store.outbox.pending(10)]
    assert [b'"event_type":"over_ceiling_opened"' in text for text in said] == [True, True]
    rig.finish()
