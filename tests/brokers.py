"""A real Mosquitto and a real subscriber."""

import contextlib
import os
import queue
import secrets
import socket
import subprocess
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from ingest.mqtt.settings import MqttSettings

PATIENCE_S = 60.0


def free_port() -> int:
    """A port that nobody has, below those that the system gives to connections, so that none takes it first.

    Chosen by the system's own chance, because all workers of a test run share the seeded one.
    """
    while True:
        port = 20_000 + secrets.randbelow(12_000)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
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

    def stop(self) -> None:
        """End it in order, so that it saves what it keeps."""
        if self.process is not None:
            while self.process.poll() is None:
                self.process.terminate()  # again, because it says "running" before it heeds signals
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self.process.wait(0.1)
            self.kill()

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            assert self.process.stderr is not None
            self.process.stderr.close()
            self.process = None


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
