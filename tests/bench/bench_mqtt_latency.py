"""How soon a subscriber has an event, and how fast a backlog of events drains: run this file.

First the whole way: from the write of a reading's last byte on a pseudo-terminal, through `baskline run` with
64 boards at 10 Hz, the store's flush and a real Mosquitto, to a real subscriber.  The rules wait for nothing
here.  Then the publisher alone with a backlog in its outbox.
"""

# ruff: noqa: T201 - a benchmark prints; its times are finer than the Clock's; it starts programs

import json
import os
import queue
import shutil
import socket
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from firmware_host.clock import SystemClock
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from ingest.mqtt.publisher import Publisher
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics
from ingest.store.outbox import OutgoingMessage
from ingest.store.store import Store

N_BOARDS = 64
CADENCE_MS = 100
PHASE_MS = 500  # bright for so long, then as long in the band
N_CHANGES = 200
N_BACKLOG = 5_000
SETTLE_S = 5.0
PATIENCE_S = 10.0

UNITS = {"uva_counts": "counts", "temperature_c": "degC"}
BRIGHT_COUNTS, WANTED_COUNTS = 2012.0, 612.0  # 6.0 and 1.8 UVI by the calibration below

CALIBRATION = """
format = 1
sensor_kind = "guva-s12sd"
lamp_kind = "t5"
made_on = 2025-06-01
valid_for_days = 36500
uvi_range = [0.0, 8.0]
[channels.uva_counts]
dark = 12.0
noise = 1.5
valid_range = [0.0, 3000.0]
[model]
kind = "line"
[model.slope]
uva_counts = 0.003
[uncertainty]
standard_errors = { "dark.uva_counts" = 0.5, "slope.uva_counts" = 3e-5 }
reference_relative = 0.02
"""

CONFIG = """
[bridge]
site = "bench"
name = "bench"
time_zone = "UTC"
[serial]
ports = ["{ports}"]
[mqtt]
host = "127.0.0.1"
port = {mqtt_port}
[enclosure.house]
label = "House"
[lamp.tube]
kind = "t5"
installed = 2025-06-01
distance_cm = 30.0
{boards}
"""
BOARD = """
[board.b{number}]
identity = "board-{number}"
label = "Board {number}"
[spot.s{number}]
label = "Spot {number}"
enclosure = "house"
lamp = "tube"
board = "b{number}"
calibration = "calibration.toml"
band = {{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 3.0 }}
rules = {{ over_hold_s = 0, back_hold_s = 0 }}
"""


@contextmanager
def broker() -> Iterator[int]:
    """A Mosquitto on a free port; yields the port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    program = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    assert program is not None, "apt-get install mosquitto"
    process = subprocess.Popen([program, "-p", str(port)], stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    with process.stderr as said:
        for line in said:
            if "running" in line:
                break
        try:
            yield port
        finally:
            process.terminate()
            process.wait()


class Subscriber:
    """Keeps what it hears, with the time at which it heard it, in ns."""

    def __init__(self, port: int, topic: str) -> None:
        self.heard: queue.Queue[tuple[int, bytes]] = queue.Queue()
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self.client.on_message = self._note
        self.client.connect("127.0.0.1", port)
        self.client.subscribe(topic, qos=1)
        self.client.loop_start()

    def _note(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        self.heard.put((time.monotonic_ns(), bytes(message.payload)))

    def close(self) -> None:
        """Go."""
        self.client.disconnect()
        self.client.loop_stop()


def wanted_light(_at_ms: float) -> Mapping[str, float]:
    """A spot in its band."""
    return {"uva_counts": WANTED_COUNTS, "temperature_c": 31.25}


class BlinkingBoard:
    """A board on a pseudo-terminal of its own, whose spot goes over its ceiling and back, again and again."""

    def __init__(self, link: Path) -> None:
        self._bright = False
        self.changes_ns: list[int] = []
        self._master, slave = os.openpty()
        os.set_blocking(self._master, False)
        tty.setraw(slave)
        link.symlink_to(os.ttyname(slave))
        self._board = SimulatedBoard(
            BoardModel("board-0", UNITS, cadence_ms=CADENCE_MS), self._channels_at, seed=0
        )
        self._clock = SystemClock()
        self._board.start(self._now_ms())
        self._stop = threading.Event()
        self._may_blink = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def blink(self) -> None:
        """From now on."""
        self._may_blink.set()

    def close(self) -> None:
        """Fall silent."""
        self._stop.set()
        self._thread.join()

    def _now_ms(self) -> int:
        return self._clock.moment().mono_ms

    def _channels_at(self, at_ms: float) -> Mapping[str, float]:
        self._bright = self._may_blink.is_set() and int(at_ms) // PHASE_MS % 2 == 1
        return {"uva_counts": BRIGHT_COUNTS if self._bright else WANTED_COUNTS, "temperature_c": 31.25}

    def _run(self) -> None:
        was_bright = False
        while not self._stop.wait(0.002):
            with suppress(BlockingIOError):
                self._board.receive(os.read(self._master, 4096), self._now_ms())
            data = self._board.run(self._now_ms())
            if data:
                if self._bright != was_bright:
                    was_bright = self._bright
                    self.changes_ns.append(time.monotonic_ns())
                os.write(self._master, data)


def whole_way_ms(port: int, folder: Path) -> list[float]:
    """Return how long after its reading each change of an event was heard."""
    boards = "".join(BOARD.format(number=number) for number in range(N_BOARDS))
    (folder / "calibration.toml").write_text(CALIBRATION)
    config = folder / "baskline.toml"
    config.write_text(CONFIG.format(ports=folder / "board-*", mqtt_port=port, boards=boards))
    subscriber = Subscriber(port, "baskline/bench/bench/event")
    clock = SystemClock()
    found: list[float] = []
    with PtyBench(folder) as bench:
        for number in range(1, N_BOARDS):
            model = BoardModel(f"board-{number}", UNITS, cadence_ms=CADENCE_MS)
            phase_ms = number * CADENCE_MS // N_BOARDS
            bench.add(SimulatedBoard(model, wanted_light, seed=number), clock.moment().mono_ms - phase_ms)
        blinking = BlinkingBoard(folder / "board-board-0")
        try:
            with bench.running(clock), watching(config):
                clock.wait_s(SETTLE_S)
                blinking.blink()
                while len(found) < N_CHANGES:
                    heard_ns, payload = subscriber.heard.get(timeout=PATIENCE_S)
                    if json.loads(payload)["kind"] == "over_ceiling":
                        found.append((heard_ns - blinking.changes_ns[len(found)]) / 1e6)
        finally:
            blinking.close()
            subscriber.close()
    return sorted(found)


@contextmanager
def watching(config: Path) -> Iterator[None]:
    """The daemon, a process of its own as it is at a keeper's; what it said is printed if something fails."""
    log = config.with_name("log")
    with log.open("w") as out:
        program = Path(sys.executable).with_name("baskline")
        daemon = subprocess.Popen([program, "run", "--config", config], stdout=out, stderr=out)
        try:
            yield
        except BaseException:
            print(log.read_text()[-3000:])
            raise
        finally:
            daemon.terminate()
            daemon.wait()


def drain_rate(port: int, folder: Path) -> float:
    """Return at how many events a second a backlog reaches the subscriber."""
    settings = MqttSettings(host="127.0.0.1", port=port, site="bench", bridge="backlog")
    topic = Topics(settings).event
    subscriber = Subscriber(port, topic)
    woken = threading.Event()
    with Store.open(folder / "backlog.db") as store:
        with store.transaction():
            for _ in range(N_BACKLOG):
                store.outbox.put(OutgoingMessage(topic, b"x" * 600, qos=1, retain=False), 0)
        publisher = Publisher(settings, store.outbox, SystemClock(), wake=woken.set, report=print)
        start_ns = time.monotonic_ns()
        while store.outbox.pending(1):
            woken.clear()
            publisher.pump()
            woken.wait(0.5)
        heard = [subscriber.heard.get(timeout=PATIENCE_S) for _ in range(N_BACKLOG)]
        publisher.close()
    subscriber.close()
    return N_BACKLOG / ((heard[-1][0] - start_ns) / 1e9)


def main() -> None:
    """Measure, and print."""
    with broker() as port, TemporaryDirectory() as folder:
        took_ms = whole_way_ms(port, Path(folder))
        print(
            f"last byte on the port to the subscriber, {N_BOARDS} boards at 10 Hz, {N_CHANGES} events: "
            f"median {took_ms[N_CHANGES // 2]:.1f} ms, p99 {took_ms[N_CHANGES * 99 // 100]:.1f} ms, "
            f"worst {took_ms[-1]:.1f} ms"
        )
        print(f"a backlog of {N_BACKLOG} events drains at {drain_rate(port, Path(folder)):,.0f} events/s")


if __name__ == "__main__":
    main()
