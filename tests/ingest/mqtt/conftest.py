"""A publisher on a real broker."""

import itertools
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firmware_host.clock import ManualClock, SystemClock
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import BrokerError, MqttSettings
from ingest.mqtt.topics import Topics
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store
from tests.brokers import PATIENCE_S, Broker

_numbers = itertools.count()


@pytest.fixture
def settings(broker: Broker) -> MqttSettings:
    """The session's broker, under a site that no other test uses."""
    number = next(_numbers)
    return MqttSettings(
        host="127.0.0.1",
        port=broker.port,
        site=f"site{number}",
        bridge="room",
        discovery_prefix=f"hub{number}",
    )


class Bench:
    """A publisher with everything around it real but the clock, which moves when told."""

    def __init__(self, settings: MqttSettings, store: Store) -> None:
        self.settings = settings
        self.store = store
        self.outbox = store.outbox
        self.clock = ManualClock(1_750_000_000_000)
        self.woken = threading.Event()
        self.reports: list[BrokerError] = []
        self.publisher = Publisher(
            settings, store.outbox, self.clock, wake=self.woken.set, report=self.reports.append
        )

    def until(self, condition: Callable[[], object]) -> None:
        """Pump whenever woken, and when nothing wakes us, until `condition` holds."""
        deadline_ms = SystemClock().moment().mono_ms + 1000 * PATIENCE_S
        while True:
            self.woken.clear()
            self.publisher.pump()
            if condition():
                return
            assert SystemClock().moment().mono_ms < deadline_ms, (
                f"it never happened; reported: {self.reports}"
            )
            self.woken.wait(0.02)

    def say(self, text: str, topic: str | None = None) -> None:
        """Put an event into the outbox."""
        to = topic if topic is not None else Topics(self.settings).event
        self.outbox.put(OutgoingMessage(to, text.encode(), qos=1, retain=False), 0)

    def cut(self) -> None:
        """Break the connection without a goodbye, as a power cut or a pulled cable would."""
        self.publisher._link._client.socket().shutdown(socket.SHUT_RDWR)

    def until_up(self) -> None:
        self.until(lambda: self.publisher.connected)

    def until_trouble(self) -> BrokerError:
        self.until(lambda: self.publisher.trouble is not None)
        assert self.publisher.trouble is not None
        return self.publisher.trouble

    def until_quiet(self) -> None:
        """Until the broker has everything."""
        publisher = self.publisher
        self.until_drained()
        self.until(lambda: not (publisher._due or publisher._states_on_way or publisher._events_on_way))

    def until_drained(self) -> None:
        self.until(lambda: not self.outbox.pending(1, 0))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[[MqttSettings], Bench]]:
    """Make a publisher for settings, with a store of its own; every one is closed after the test."""
    made: list[Bench] = []

    def make(settings: MqttSettings) -> Bench:
        one = Bench(settings, Store.open(tmp_path / f"store{len(made)}.db"))
        made.append(one)
        return one

    yield make
    for one in made:
        one.publisher.close()
        one.store.close()
