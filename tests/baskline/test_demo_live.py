"""The live demo: a room in real time with its page, and a broker that forgets it afterwards."""

import itertools
import queue
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from baskline.live_demo import run_live
from baskline.scenario import ScenarioError, build
from baskline.scenario.setting import USUAL, live_setting
from baskline.wording import FLAG_WORDS
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.mqtt.settings import MqttSettings
from ingest.store.store import Store
from tests.baskline.making import environment, said_here
from tests.baskline.running import PATIENCE_S, now_ms, until
from tests.brokers import free_port

HOUR_S = 3600


class Demo:
    """A live demo as a process of its own, and what it has printed."""

    def __init__(self, folder: Path, *, port: int, broker: str, every_s: float) -> None:
        program = (
            "from pathlib import Path; from baskline.live_demo import run_live;"
            f"run_live(Path('demo-live'), seed=1, port={port}, broker={broker!r}, every_s={every_s})"
        )
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", program],
            cwd=folder,
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.printed = ""
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)

    def until_printed(self, words: str) -> None:
        deadline_ms = now_ms() + round(2000 * PATIENCE_S)
        while words not in self.printed:
            assert now_ms() < deadline_ms, f"never printed: {words}; but: {self.printed}"
            try:
                self.printed += self._lines.get(timeout=0.1)
            except queue.Empty:
                continue

    def ended(self) -> tuple[int, str]:
        assert self.process.stderr is not None
        code = self.process.wait(PATIENCE_S)
        with self.process.stderr as stderr:
            return code, stderr.read()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Demo]]:
    started: list[Demo] = []

    def begin(**options: object) -> Demo:
        started.append(Demo(tmp_path, **options))  # type: ignore[arg-type]
        return started[-1]

    yield begin
    for demo in started:
        demo.process.kill()
        demo.process.wait()
        for stream in (demo.process.stdout, demo.process.stderr):
            assert stream is not None
            stream.close()


def test_it_is_on_the_page_at_the_broker_and_in_other_terminals_and_then_taken_back(
    start, start_broker, listen, tmp_path: Path
) -> None:
    port, broker = free_port(), start_broker()
    settings = MqttSettings(host="127.0.0.1", port=broker.port, site="demo", bridge="invented-room")
    hub = listen(settings, "homeassistant/#", "baskline/#")
    demo = start(port=port, broker=f"127.0.0.1:{broker.port}", every_s=5)
    demo.until_printed("Ctrl-C ends it.")
    assert f"http://127.0.0.1:{port}/" in demo.printed
    assert "it never switches a lamp" in demo.printed
    until(lambda: answers(f"http://127.0.0.1:{port}/"), "the page")
    assert "Fern crown" in httpx.get(f"http://127.0.0.1:{port}/").text
    retained = {hub.until(lambda heard: "SPOT_fern" in heard.topic).topic}
    retained.add(
        hub.until(
            lambda heard: heard.topic.endswith("/spot/fern/state") and "in_band" in str(heard.payload)
        ).topic
    )
    demo.until_printed("(the board behind the slate is unplugged)")
    stories = [
        "a sage stalk leans",
        "tube begins to give too much",
        "the sage is cut back",
        "its usual light again",
    ]
    places = [demo.printed.find(story) for story in stories]
    assert -1 not in places
    assert places == sorted(places)
    day = said_here("day", "fern", "-c", "demo-live/baskline.toml", folder=tmp_path)
    assert "100 % of the day so far" in day.out
    assert FLAG_WORDS["clock_unsure"] not in day.out
    demo.process.send_signal(signal.SIGINT)
    assert demo.ended() == (0, "")
    assert not answers(f"http://127.0.0.1:{port}/")
    while retained:
        retained.discard(hub.until(lambda heard: heard.payload == b"").topic)


def answers(url: str) -> bool:
    try:
        return httpx.get(url).status_code == 200
    except httpx.TransportError:
        return False


@given(
    now_s=st.integers(1_700_000_000, 2_000_000_000),
    own_offset_s=st.sampled_from([hours * HOUR_S + half for hours in range(-12, 15) for half in (0, 1800)]),
)
def test_it_lies_where_it_is_early_afternoon_and_as_near_as_can_be(now_s: int, own_offset_s: int) -> None:
    setting = live_setting(1000 * now_s, own_offset_s, 120_000)
    there = datetime.fromtimestamp(now_s, UTC).astimezone(ZoneInfo(setting.time_zone))
    assert 11 <= there.hour < 15
    assert setting.day == there.date()
    own = datetime.fromtimestamp(now_s, UTC) + timedelta(seconds=own_offset_s)
    if 11 <= own.hour < 15 and own_offset_s % HOUR_S == 0:
        assert own.hour == there.hour


def test_something_happens_at_each_step_and_nothing_lasts_for_ever() -> None:
    setting = live_setting(1_750_000_000_000, 0, 120_000)
    times = sorted(
        at_ms
        for spans in (setting.sage, setting.too_much, setting.unplugged)
        for span in spans
        for at_ms in (span.start_ms, span.end_ms)
    )
    assert times[0] == 1_750_000_000_000 + 120_000
    assert {later - earlier for earlier, later in itertools.pairwise(times)} <= {120_000, 240_000}
    assert times[-1] - times[0] > 5 * HOUR_S * 1000


def test_dates_of_the_room_move_with_its_day(tmp_path: Path) -> None:
    usual, live = tmp_path / "usual", tmp_path / "live"
    setting = live_setting(1_790_000_000_000, 0, 120_000)
    lamps = [
        load_config(build(folder, 1, at).config_file).lamps
        for folder, at in ((usual, USUAL), (live, setting))
    ]
    ages = [
        [day - lamp.installed for lamp in of.values()]
        for day, of in zip((USUAL.day, setting.day), lamps, strict=True)
    ]
    assert ages[0] == ages[1]


def test_a_port_that_is_taken_is_said_before_anything_is_written(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = said_here("demo", "--live", "--port", port, folder=tmp_path)
    assert said.code == 1
    assert f"port {port} of this computer cannot be had: Address already in use" in said.err
    assert f"--port {port + 1}" in said.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("broker", ["localhost:mqtt", ":1883"])
def test_what_is_no_broker_is_said_before_anything_is_written(tmp_path: Path, broker: str) -> None:
    said = said_here("demo", "--live", "--port", free_port(), "--broker", broker, folder=tmp_path)
    assert said.code == 1
    assert f"--broker: {broker!r} is no broker. Type a host, or host:port" in said.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_its_own_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "baskline.toml").write_text("[bridge]\n")
    with pytest.raises(ScenarioError, match="was not written by the live demo"):
        run_live(tmp_path, seed=1, port=free_port(), broker=None)
    assert (tmp_path / "baskline.toml").read_text() == "[bridge]\n"


def test_a_room_that_runs_is_not_taken_from_under_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class EndedEarlyError(Exception):
        pass

    def end_early(*_: object, **__: object) -> None:
        raise EndedEarlyError

    monkeypatch.setattr("baskline.live_demo.give_past", end_early)
    with pytest.raises(EndedEarlyError):
        run_live(tmp_path, seed=1, port=free_port(), broker=None)
    with Store.open(tmp_path / "demo.db") as store:
        store.begin_run(SystemClock().moment())
        with pytest.raises(ScenarioError, match="another live demo runs in this folder"):
            run_live(tmp_path, seed=1, port=free_port(), broker=None)
    with pytest.raises(EndedEarlyError):  # but once it has ended, anew
        run_live(tmp_path, seed=1, port=free_port(), broker=None)
