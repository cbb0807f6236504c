"""A real Mosquitto, started by the tests on a free port."""

import contextlib
import itertools
import os
import queue
import shutil
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from firmware_host.clock import ManualClock, SystemClock
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import BrokerError, MqttSettings
from ingest.mqtt.topics import Topics
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store

PATIENCE_S = 20.0
_MISSING = "mosquitto is not installed: apt-get install mosquitto"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@dataclass
class Broker:
    """A Mosquitto that can be killed and started again on the same port."""

    folder: Path
    port: int
    lines: list[str]
    process: subprocess.Popen[str] | None = field(default=None)

    def start(self) -> None:
        config = self.folder / "mosquitto.conf"
        user = ["user root"] if os.geteuid() == 0 else []  # or it drops its rights and cannot read our files
        config.write_text("\n".join([*user, *self.lines]) + "\n")
        self.process = subprocess.Popen(
            ["mosquitto", "-v", "-c", str(config)], stderr=subprocess.PIPE, text=True, bufsize=1
        )
        assert self.process.stderr is not None
        said = []
        for line in self.process.stderr:
            said.append(line)
            if "running" in line:
                break
        else:
            raise AssertionError("mosquitto did not start: " + "".join(said))
        threading.Thread(target=self._drain, args=(self.process,), daemon=True).start()

    @staticmethod
    def _drain(process: subprocess.Popen[str]) -> None:
        assert process.stderr is not None
        with contextlib.suppress(ValueError):  # closed under us by stop
            for _line in process.stderr:
                pass

    def reload(self) -> None:
        assert self.process is not None
        self.process.send_signal(1)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            assert self.process.stderr is not None
            self.process.stderr.close()
            self.process = None


@pytest.fixture(scope="session")
def mosquitto() -> str:
    found = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(_MISSING)
        pytest.skip(_MISSING)
    return found


@pytest.fixture(scope="session")
def broker(mosquitto: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """One broker for the session, open to all.  Each test has a site of its own on it."""
    port = free_port()
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "persistence false"]
    started = Broker(tmp_path_factory.mktemp("broker"), port, lines)
    started.start()
    yield started
    started.kill()


StartBroker = Callable[..., Broker]


@pytest.fixture
def start_broker(mosquitto: str, tmp_path: Path) -> Iterator[StartBroker]:
    """Start a broker of the test's own, from configuration lines (open to all when none are given)."""
    started: list[Broker] = []

    def start(*lines: str) -> Broker:
        port = free_port()
        own = Broker(tmp_path, port, [f"listener {port} 127.0.0.1", *(lines or ("allow_anonymous true",))])
        started.append(own)
        own.start()
        return own

    yield start
    for own in started:
        own.kill()


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


class Listener:
    """A real subscriber: keeps what it hears, in order."""

    def __init__(self, settings: MqttSettings, *topics: str) -> None:
        self.heard = heard = queue.Queue()
        subscribed = threading.Event()
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        client.username_pw_set(settings.username, settings.password)
        client.on_message = lambda _client, _userdata, message: heard.put(message)
        client.on_subscribe = lambda *_: subscribed.set()
        client.connect(settings.host, settings.port)
        client.subscribe([(topic, 1) for topic in topics])
        client.loop_start()
        assert subscribed.wait(PATIENCE_S)
        self.client = client

    def next(self) -> MQTTMessage:
        return self.heard.get(timeout=PATIENCE_S)

    def until(self, wanted: Callable[[MQTTMessage], bool]) -> MQTTMessage:
        while True:
            message = self.next()
            if wanted(message):
                return message

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def listen() -> Iterator[Callable[..., Listener]]:
    """Subscribe to topics: `listen(settings, *topics)`."""
    opened: list[Listener] = []

    def start(settings: MqttSettings, *topics: str) -> Listener:
        listener = Listener(settings, *topics)
        opened.append(listener)
        return listener

    yield start
    for listener in opened:
        listener.close()


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
