"""Real servers that speak the write interface, and a store with readings of one board in it."""

import json
import os
import shutil
import subprocess
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from calibrate.calibration_file import format_calibration, parse_calibration
from firmware_host.clock import Moment, SystemClock
from ingest.history import History
from ingest.mirror.feed import MirrorFeed
from ingest.mirror.lines import LineWriter
from ingest.mirror.server import MirrorServer
from ingest.mirror.settings import MirrorSettings
from ingest.store.assignments import Assignment
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.brokers import free_port

PATIENCE_S = 30.0
START_MS = 1_750_000_000_000

CALIBRATION = """
format = 1
sensor_kind = "guva-s12sd"
lamp_kind = "t5"
made_on = 2025-06-01
uvi_range = [0.0, 8.0]
[channels.uva_counts]
dark = 12.0
noise = 1.5
valid_range = [0.0, 3000.0]
saturation = 4095.0
[model]
kind = "line"
[model.slope]
uva_counts = 0.0031
[uncertainty]
parameters = ["dark.uva_counts", "slope.uva_counts"]
covariance = [[1.0, 0.0], [0.0, 1e-9]]
reference_relative = 0.05
"""


def _program(name: str, package: str) -> str:
    found = shutil.which(name, path=os.environ.get("PATH", "") + ":/usr/sbin")
    if found is None:
        words = f"{name} is not installed: apt-get install {package}"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    return found


def get(url: str, **query: str) -> str:
    whole = f"{url}?{urllib.parse.urlencode(query)}" if query else url
    with urllib.request.urlopen(whole, timeout=PATIENCE_S) as answer:
        return answer.read().decode()


def _until_it_answers(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    clock = SystemClock()
    deadline_ms = clock.moment().mono_ms + 1000 * PATIENCE_S
    while True:
        try:
            get(url)
        except OSError:
            assert process.poll() is None, log.read_text()
            assert clock.moment().mono_ms < deadline_ms, log.read_text()
            clock.wait_s(0.05)
        else:
            return


class Victoria:
    """A VictoriaMetrics that can be stopped and started on the same port and data."""

    def __init__(self, program: str, folder: Path) -> None:
        self.url = f"http://127.0.0.1:{free_port()}"
        self._command = [
            program, f"-httpListenAddr={self.url.removeprefix('http://')}",
            f"-storageDataPath={folder / 'data'}", "-retentionPeriod=100y",
        ]  # fmt: skip
        self._log = folder / "log"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)
        _until_it_answers(f"{self.url}/health", self._process, self._log)

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(PATIENCE_S)
            self._process = None

    def points(self, site: str, n: int) -> dict[tuple[str, str, str], list[tuple[int, float]]]:
        """What arrived of a site: times and values by metric name, spot and bridge.

        The server shows new points after a moment only: wait until some series has `n`.
        """
        clock = SystemClock()
        deadline_ms = clock.moment().mono_ms + 1000 * PATIENCE_S
        while True:
            get(f"{self.url}/internal/force_flush")
            found = {}
            for line in get(f"{self.url}/api/v1/export", **{"match[]": f'{{site="{site}"}}'}).splitlines():
                series = json.loads(line)
                tags = series["metric"]
                key = (tags["__name__"], tags.get("spot", ""), tags["bridge"])
                found[key] = sorted(set(zip(series["timestamps"], series["values"], strict=True)))
            if any(len(points) >= n for points in found.values()):
                return found
            assert clock.moment().mono_ms < deadline_ms, found
            clock.wait_s(0.05)


@pytest.fixture(scope="session")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Victoria]:
    server = Victoria(_program("victoria-metrics", "victoria-metrics"), tmp_path_factory.mktemp("victoria"))
    server.start()
    yield server
    server.stop()


class Judge:
    """An InfluxDB 1.6, whose older write interface takes the same lines and is strict about them."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.ask("CREATE DATABASE judged")

    def ask(self, query: str) -> list[dict[str, object]]:
        body = urllib.parse.urlencode({"q": query, "db": "judged", "epoch": "ms"}).encode()
        with urllib.request.urlopen(f"{self.url}/query", body, timeout=PATIENCE_S) as answer:
            series = json.load(answer)["results"][0].get("series", [])
        return [dict(zip(one["columns"], row, strict=True)) for one in series for row in one["values"]]

    def write(self, lines: list[str]) -> int:
        """Offer lines; return the HTTP status."""
        url = f"{self.url}/write?db=judged&precision=ms"
        try:
            with urllib.request.urlopen(url, "\n".join(lines).encode(), timeout=PATIENCE_S) as answer:
                return answer.status
        except urllib.error.HTTPError as refusal:
            with refusal:
                return refusal.code


@pytest.fixture(scope="session")
def judge(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Judge]:
    program = _program("influxd", "influxdb")
    folder = tmp_path_factory.mktemp("influxdb")
    port, rpc_port = free_port(), free_port()
    (folder / "influxdb.conf").write_text(
        f'reporting-disabled = true\nbind-address = "127.0.0.1:{rpc_port}"\n'
        f'[meta]\ndir = "{folder}/meta"\n[data]\ndir = "{folder}/data"\nwal-dir = "{folder}/wal"\n'
        f'[http]\nbind-address = "127.0.0.1:{port}"\n'
    )
    log = folder / "log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [program, "-config", str(folder / "influxdb.conf")], stdout=out, stderr=out, cwd=folder
        )
    url = f"http://127.0.0.1:{port}"
    _until_it_answers(f"{url}/ping", process, log)
    yield Judge(url)
    process.terminate()
    process.wait(PATIENCE_S)


@pytest.fixture
def make_batch() -> Callable[..., StampedBatch]:
    """Readings of board uv-1, one a second, of which every tenth lacks its temperature."""

    def make(first: int, n: int, *, board: str = "uv-1") -> StampedBatch:
        seq = np.arange(first, first + n, dtype=np.int64)
        values = np.stack([12.0 + seq % 1000, np.where(seq % 10 == 9, np.nan, 31.25)], axis=1)
        return StampedBatch(
            board=board,
            boot="0123abcd",
            channels=("uva_counts", "temperature_c"),
            seq=seq,
            utc_ms=START_MS + 1000 * seq,
            values=values,
            marks=np.zeros(n, np.uint32),
        )

    return make


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    return tmp_path / "store.db"


@pytest.fixture
def store(store_path: Path) -> Iterator[Store]:
    """A store whose spot `ledge` is watched by board uv-1 and calibrated, and `shelf` is not calibrated."""
    with Store.open(store_path) as opened:
        opened.begin_run(Moment(mono_ms=0, wall_ms=START_MS, synchronised=True))
        calibration = parse_calibration(CALIBRATION)
        opened.calibrations.put(calibration.identity, format_calibration(calibration))
        for spot, identity in (("ledge", calibration.identity), ("shelf", "")):
            opened.assignments.record(Assignment(spot, "uv-1", "", identity, "t5", "1.0 2.6 7.4"), 0)
        yield opened


@pytest.fixture
def settings(victoria: Victoria, request: pytest.FixtureRequest) -> MirrorSettings:
    """The real server, under a site that no other test uses."""
    site = request.node.name.replace("_", "-")
    return MirrorSettings(url=victoria.url, org="home", bucket="uv", token="t", site=site, bridge="room")


@pytest.fixture
def feed(store: Store) -> Iterator[Callable[..., MirrorFeed]]:
    """Make a feed of `store` to settings."""
    servers = []

    def make(settings: MirrorSettings, spots: tuple[str, ...] = ("ledge", "shelf")) -> MirrorFeed:
        server = MirrorServer(settings)
        servers.append(server)
        lines = LineWriter(settings.site, settings.bridge, spots, History(store))
        return MirrorFeed(store, server, lines, settings.url)

    yield make
    for server in servers:
        server.__exit__(None, None, None)
