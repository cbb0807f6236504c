from dataclasses import asdict

import pytest

from firmware_host.messages import Hello
from ingest.store import outbox as outbox_module
from ingest.store.boards import BoardRecord
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store

HELLO = Hello("fern-1", "0a1b2c3d", "1.2", "veml6075", ("uva_counts",), ("counts",), 1000, 512)


def alert(text: str) -> OutgoingMessage:
    return OutgoingMessage("site/events", text.encode(), 1, retain=False)


def state(spot: str, text: str) -> OutgoingMessage:
    return OutgoingMessage(f"site/{spot}", text.encode(), 1, retain=True)


def texts(store: Store) -> list[str]:
    return [waiting.message.payload.decode() for waiting in store.outbox.pending(10**6)]


def test_messages_wait_in_order_until_delivered(store: Store) -> None:
    for number in range(5):
        assert store.outbox.put(alert(str(number)), 1000 + number) == 0
    first, second = store.outbox.pending(2)
    assert (first.message, first.created_ms) == (alert("0"), 1000)
    assert [waiting.message.payload for waiting in store.outbox.pending(9, after_id=second.id)] == [
        b"2",
        b"3",
        b"4",
    ]
    store.outbox.delivered([first.id, second.id])
    store.outbox.delivered([first.id])
    assert texts(store) == ["2", "3", "4"]
    assert store.outbox.size() == 3


def test_a_number_never_comes_again(store: Store) -> None:
    store.outbox.put(alert("a"), 0)
    (waiting,) = store.outbox.pending(1)
    store.outbox.delivered([waiting.id])
    store.outbox.put(alert("b"), 0)
    assert store.outbox.pending(1)[0].id > waiting.id


def test_of_retained_messages_the_newest_of_each_topic_waits(store: Store) -> None:
    store.outbox.put(state("ledge", "1"), 0)
    store.outbox.put(alert("between"), 0)
    store.outbox.put(state("log", "2"), 0)
    store.outbox.put(state("ledge", "3"), 0)
    assert texts(store) == ["between", "2", "3"]


def test_beyond_the_limit_the_oldest_unretained_goes_and_is_counted(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outbox_module, "MOST_UNRETAINED", 3)
    store.outbox.put(state("ledge", "kept"), 0)
    dropped = [store.outbox.put(alert(str(number)), 0) for number in range(5)]
    assert dropped == [0, 0, 0, 1, 1]
    assert texts(store) == ["kept", "2", "3", "4"]
    assert store.outbox.dropped() == 2
    store.outbox.delivered([store.outbox.pending(2)[1].id])
    assert store.outbox.put(alert("room again"), 0) == 0


def test_a_board_is_remembered_by_its_last_hello_and_port(store: Store) -> None:
    assert store.boards.get("fern-1") is None
    store.boards.seen("fern-1", 1000, "/dev/ttyACM0")
    assert store.boards.get("fern-1") == BoardRecord("fern-1", 1000, 1000, "/dev/ttyACM0", None)
    store.boards.hello(HELLO, 3000, "/dev/ttyACM1")
    store.boards.seen("fern-1", 2000, "/dev/ttyACM1")
    assert store.boards.get("fern-1") == BoardRecord("fern-1", 1000, 3000, "/dev/ttyACM1", HELLO)
    store.boards.seen("fern-1", 9000, "/dev/ttyACM1")
    assert store.boards.get("fern-1") == BoardRecord("fern-1", 1000, 3000, "/dev/ttyACM1", HELLO)
    store.boards.seen("fern-1", 13_000, "/dev/ttyACM1")
    store.boards.seen("fern-1", 13_001, "/dev/ttyACM0")
    assert store.boards.get("fern-1") == BoardRecord("fern-1", 1000, 13_001, "/dev/ttyACM0", HELLO)
    store.boards.hello(Hello(**asdict(HELLO) | {"board": "dune-3"}), 4000, "/dev/ttyACM2")
    assert [record.board for record in store.boards.all()] == ["dune-3", "fern-1"]
