from dataclasses import replace
from pathlib import Path

import pytest

from exposure.events import Event, EventKind, Severity, event_identity
from ingest.store.errors import StoreError
from ingest.store.store import Store


def event(opened_ms: int = 1000, subject: str = "ledge") -> Event:
    return Event(
        identity=event_identity(EventKind.OVER_CEILING, subject, opened_ms),
        kind=EventKind.OVER_CEILING,
        subject_kind="spot",
        subject=subject,
        severity=Severity.NOW,
        opened_ms=opened_ms,
        sentence="above the ceiling, 2.9 ± 0.3 over 2.6 (k = 2)",
        advice="raise the lamp",
        evidence={"uvi": 2.9, "limit_uvi": 2.6, "held_s": 30, "sure": True, "why": None},
    )


def test_an_event_comes_back_whole(store: Store) -> None:
    assert store.events.put(event()) == event()
    assert store.events.get(event().identity) == event()
    assert store.events.get("never.was.0") is None


def test_putting_the_same_state_again_changes_nothing(store: Store) -> None:
    odd = replace(event(), evidence={"uvi": float("nan")})
    store.events.put(odd)
    assert store.events.put(replace(odd, evidence={"uvi": float("nan")})) is None
    assert len(store.events.history(odd.identity)) == 1


def test_every_state_stays_on_record(store: Store) -> None:
    worse = replace(event(), sentence="above the ceiling, 3.4 ± 0.3", evidence={"uvi": 3.4})
    closed = worse.closed(9000, "back under 2.6")
    for state in (event(), worse, closed):
        assert store.events.put(state) == state
    assert store.events.history(event().identity) == [event(), worse, closed]
    assert store.events.get(event().identity) == closed


def test_an_acknowledgement_from_elsewhere_survives_the_next_state(store: Store) -> None:
    store.events.put(event())
    assert store.events.acknowledge(event().identity, 5000).acknowledged_ms == 5000
    assert store.events.acknowledge(event().identity, 6000).acknowledged_ms == 5000
    closed = store.events.put(event().closed(9000, "back under 2.6"))
    assert closed is not None
    assert (closed.acknowledged_ms, closed.closed_ms) == (5000, 9000)
    assert len(store.events.history(event().identity)) == 3


@pytest.mark.parametrize(
    ("seen_as", "is_now"),
    [(Severity.NOTE, Severity.TODAY), (Severity.NOTE, Severity.NOW), (Severity.TODAY, Severity.NOW)],
)
def test_who_has_seen_an_event_has_not_seen_it_once_it_is_graver(
    store: Store, seen_as: Severity, is_now: Severity
) -> None:
    mild, grave = (replace(event(), severity=each) for each in (seen_as, is_now))
    store.events.put(mild)
    store.events.acknowledge(mild.identity, 5000)
    assert store.events.put(grave) == grave
    store.events.acknowledge(mild.identity, 6000)
    closed = store.events.put(grave.closed(9000, "over"))
    assert closed is not None
    assert closed.acknowledged_ms == 6000


def test_a_closed_event_does_not_open_again(store: Store) -> None:
    store.events.put(event().closed(9000, "back under 2.6"))
    assert store.events.put(event()) is None
    assert store.events.open() == []


def test_acknowledging_what_never_happened_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match=r"no event 'never\.was\.0'"):
        store.events.acknowledge("never.was.0", 5000)


def test_open_events_come_oldest_first(store: Store) -> None:
    for opened_ms in (3000, 1000, 2000):
        store.events.put(event(opened_ms))
    store.events.put(event(2000).closed(2500, "gone"))
    assert [found.opened_ms for found in store.events.open()] == [1000, 3000]


def test_between_gives_events_that_were_open_then(store: Store) -> None:
    store.events.put(event(1000).closed(2000, "gone"))
    store.events.put(event(3000))
    store.events.put(event(5000))
    assert [found.opened_ms for found in store.events.between(2000, 5000)] == [1000, 3000]
    assert [found.opened_ms for found in store.events.between(2001, 5001)] == [3000, 5000]


def test_events_readings_and_messages_are_one_commit(store: Store, store_path: Path) -> None:
    def fail() -> None:
        with store.transaction():
            store.events.put(event())
            store.cursors.set("mirror", 7)
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert store.events.get(event().identity) is None
    assert store.events.history(event().identity) == []
    assert store.cursors.get("mirror") == 0
    with store.transaction():
        store.events.put(event())
        with Store.open(store_path, read_only=True) as other:
            assert other.events.open() == []
    with Store.open(store_path, read_only=True) as other:
        assert other.events.open() == [event()]
