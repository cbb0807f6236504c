"""Real services that tests of several folders need, started when first asked for."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from ingest.mqtt.settings import MqttSettings
from tests.brokers import Broker, Listener, free_port

# How long an example takes says how busy the machine is, not whether the code is right.
settings.register_profile(
    "patient", settings.default, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("patient")

# The many processes that tests start need the program compiled once, not each anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

_MISSING = "mosquitto is not installed: apt-get install mosquitto"


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


@pytest.fixture
def start_broker(mosquitto: str, tmp_path: Path) -> Iterator[Callable[..., Broker]]:
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
