"""Every kind of event, by its cause: raised in a running bridge, and heard by a real subscriber."""

import json
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from exposure.events import Event, EventKind
from exposure.kinds import KINDS
from firmware_host.clock import SystemClock
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics
from ingest.store.store import Store
from ingest.telling import event_message
from tests.brokers import PATIENCE_S, Broker, Listener
from tests.ingest.causes import CAUSES


def deliver(settings: MqttSettings, store: Store) -> None:
    """Publish all that waits in the outbox, as the daemon does."""
    clock, woken, reports = SystemClock(), threading.Event(), []
    publisher = Publisher(settings, store.outbox, clock, wake=woken.set, report=reports.append)
    try:
        deadline_ms = clock.moment().mono_ms + 1000 * PATIENCE_S
        while store.outbox.size():
            publisher.pump()
            assert clock.moment().mono_ms < deadline_ms, f"it was never taken; reported: {reports}"
            woken.wait(0.02)
            woken.clear()
    finally:
        publisher.close()


def heard_of(listener: Listener, kind: EventKind, changes: list[str]) -> list[dict[str, Any]]:
    """Return the messages of the kind's first event, once they are as many as it has changed."""
    heard: list[dict[str, Any]] = []
    while len(heard) < len(changes):
        message = json.loads(listener.until(lambda said: json.loads(said.payload)["kind"] == kind).payload)
        if not heard or message["identity"] == heard[0]["identity"]:
            heard.append(message)
    return heard


def test_every_kind_of_event_has_a_cause() -> None:
    assert set(CAUSES) == set(EventKind)


@pytest.mark.parametrize("kind", EventKind)
def test_its_cause_raises_it_a_subscriber_hears_it_and_it_closes_when_the_cause_is_gone(
    kind: EventKind, tmp_path: Path, broker: Broker, listen: Callable[..., Listener]
) -> None:
    settings = MqttSettings(
        host="127.0.0.1", port=broker.port, site=kind.value.replace("_", "-"), bridge="room", discovery=False
    )
    listener = listen(settings, Topics(settings).event)
    rig = CAUSES[kind](tmp_path, partial(event_message, settings))
    with Store.open(rig.store_path) as store:
        deliver(settings, store)
        first, *_ = [event for event in store.events.between(0, 1 << 52) if event.kind is kind]
        history = store.events.history(first.identity)
    changes = ["opened"] if kind is EventKind.BACK_IN_BAND else ["opened", "closed"]
    heard = heard_of(listener, kind, changes)
    assert [said["change"] for said in heard] == changes
    for said, event in zip(heard, [history[0], history[-1]], strict=False):
        assert_says(said, event)
    assert not history[-1].is_open
    assert history[-1].closing or kind is EventKind.BACK_IN_BAND
    assert heard[0]["event_type"] == f"{kind}_opened"


def assert_says(said: dict[str, Any], event: Event) -> None:
    assert said["identity"] == event.identity
    assert said["subject"] in ("ledge", "rock-1")
    assert said["subject_kind"] == ("board" if said["subject"] == "rock-1" else "spot")
    assert said["severity"] == event.severity
    assert said["sentence"] == event.sentence
    assert said["sentence"]
    assert said["advice"].startswith(KINDS[event.kind].advice)
    assert said["advice"] == event.advice
    assert said["closing"] == event.closing
