"""`baskline run` as a process of its own, on simulated boards at real speed."""

import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from calibrate.calibration_file import format_calibration
from firmware_host.clock import SystemClock
from ingest.config import Config, parse_config
from ingest.mqtt.settings import MqttSettings
from ingest.store.store import Store
from tests.ingest.rig import CONFIG, calibration

CLOCK = SystemClock()
PATIENCE_S = 60.0
COMMAND = [str(Path(sys.executable).with_name("baskline"))]

LogLine = dict[str, object]


def now_ms() -> int:
    return CLOCK.moment().mono_ms


def until(condition: Callable[[], bool], what: str) -> None:
    """Wait for something that another process does."""
    deadline_ms = now_ms() + round(1000 * PATIENCE_S)
    while not condition():
        assert now_ms() < deadline_ms, f"it never happened: {what}"
        CLOCK.wait_s(0.02)


class Room:
    """A folder with a configuration, a calibration and a store."""

    def __init__(self, folder: Path, ports: str) -> None:
        self.folder = folder
        self.config_file = folder / "baskline.toml"
        self.store_file = folder / "baskline.db"
        self._serial = f'[serial]\nports = ["{ports}"]\n'
        (folder / "ledge.toml").write_text(format_calibration(calibration()))
        self.configure()

    def configure(
        self,
        *,
        broker: MqttSettings | None = None,
        mapping: str = "",
        rules: str = "",
        identity: str = "rock-1",
    ) -> None:
        """Write the configuration anew."""
        text = CONFIG.replace('time_zone = "UTC"', 'time_zone = "UTC"\ncommit_interval_s = 0.5')
        text = text.replace('label = "Behind the rock"\n', f'label = "Behind the rock"\n{mapping}')
        text = text.replace('identity = "rock-1"', f'identity = "{identity}"')
        text += 'calibration = "ledge.toml"\n' + self._serial
        if rules:
            text += f"[spot.ledge.rules]\n{rules}"
        if broker is not None:
            text = text.replace('site = "home"', f'site = "{broker.site}"')
            text = text.replace('name = "room"', f'name = "{broker.bridge}"')
            text += f'[mqtt]\nhost = "{broker.host}"\nport = {broker.port}\n'
            text += f'discovery_prefix = "{broker.discovery_prefix}"\n'
        self.config_file.write_text(text)

    @property
    def config(self) -> Config:
        return parse_config(self.config_file.read_text(), file=self.config_file)

    def look(self) -> Store:
        return Store.open(self.store_file, read_only=True)

    def seqs(self, board: str = "rock-1") -> dict[str, list[int]]:
        """Return what is stored of each boot, doubles and all, in the order of time."""
        if not self.store_file.exists():
            return {}
        found: dict[str, list[int]] = {}
        with self.look() as store:
            for batch in store.readings.between(board, 0, 1 << 52):
                found.setdefault(batch.boot, []).extend(batch.seq.tolist())
        return found

    def n_stored(self, board: str = "rock-1") -> int:
        return sum(map(len, self.seqs(board).values()))

    def until_stored(self, n: int, board: str = "rock-1") -> None:
        until(lambda: self.n_stored(board) >= n, f"{n} readings of {board} in the store")

    def command(self, name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [*COMMAND, name, *arguments, "--config", str(self.config_file)],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
        )


class Daemon:
    """A running `baskline run`."""

    def __init__(self, room: Room, *arguments: str, command: list[str] = COMMAND) -> None:
        self.process = subprocess.Popen(
            [*command, "run", "--config", str(room.config_file), *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            bufsize=1,
            env={**os.environ, "PYTHONFAULTHANDLER": "1"},
        )
        self.lines: list[LogLine] = []
        self._coming: queue.SimpleQueue[LogLine] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._coming.put(json.loads(line))

    def until_logged(self, what: str) -> LogLine:
        """Return the next log line that says so, from now on or among those already read."""
        deadline_ms = now_ms() + round(1000 * PATIENCE_S)
        seen = 0
        while True:
            for line in self.lines[seen:]:
                if what in str(line["what"]):
                    return line
            seen = len(self.lines)
            try:
                self.lines.append(self._coming.get(timeout=0.1))
            except queue.Empty:
                assert now_ms() < deadline_ms, f"never logged: {what}; but: {self.lines}; {self._stuck_at()}"

    def _stuck_at(self) -> str:
        """Return what it was about, as its fault handler says when it is aborted."""
        self.process.send_signal(signal.SIGABRT)
        return self.ended()[1]

    def ended(self) -> tuple[int, str]:
        """Wait for its end; return exit code and standard error."""
        assert self.process.stderr is not None
        assert self.process.stdout is not None
        code = self.process.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        while not self._coming.empty():
            self.lines.append(self._coming.get())
        error = self.process.stderr.read()
        self.process.stderr.close()
        self.process.stdout.close()
        return code, error

    def stop(self) -> tuple[int, str]:
        self.process.send_signal(signal.SIGTERM)
        return self.ended()

    def kill(self) -> None:
        """End it as a power cut would."""
        if self.process.poll() is None:
            self.process.kill()
        if self.process.stdout is not None and not self.process.stdout.closed:
            self.ended()
