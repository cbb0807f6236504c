"""A newcomer's first hour, each step as it is typed: from an empty folder to the first alert."""

import json
import re
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from firmware_host.clock import SystemClock
from firmware_host.simulated.bench import PtyBench
from firmware_host.simulated.board import BoardModel, SimulatedBoard
from ingest.mqtt.settings import MqttSettings
from tests.baskline.making import PROGRAM, baskline, environment
from tests.baskline.running import until
from tests.brokers import free_port

_COUNTS_PER_UVI = 100.0
_DARK_COUNTS = 20.0
_MODEL = BoardModel("rock-1", {"uva_counts": "counts", "temperature_c": "C"}, cadence_ms=200, ring=600)

# What is typed at each question of `baskline init`; Enter takes what it offers.
_ANSWERS = {
    "Site": "home",
    "Room": "reptile-room",
    "Time zone": "Europe/Vienna",
    "Enter to look again": "{ports}",
    "What do you call it?": "Behind the slate",
    "Name an enclosure": "Rock garden",
    "Who lives there?": "Pogona vitticeps",
    "Which one?": "1",
    "Kind": "t5",
    "Since when": "2025-03-02",
    "How far": "30",
    "Is there mesh": "no",
    "Another lamp": "no",
    "Name a spot": "Slate ledge",
    "basking or retreat": "basking",
    "Zone, or": "1 2.6 4",
    "Name another enclosure": "",
    "MQTT broker": "{broker}",
    "User name there": "",
    "Show the room": "yes",
    "Write it": "yes",
    "system, user": "no",
}

_POINTS = """\
# lamp_kind = t5
# sensor_kind = guva-s12sd
# made_on = {today}
# meter_limits_percent = 5
# meter_resolution_uvi = 0.1
# saturation.uva_counts = 4095
uva_counts,uvi,kind
20,,dark
79,0.6,
141,1.2,
219,2.0,
322,3.0,
519,5.0,
721,7.0,
20,,dark
"""


class Light:
    """What falls on the board."""

    uvi = 1.8

    def levels(self, _at_ms: float) -> dict[str, float]:
        return {"uva_counts": _DARK_COUNTS + _COUNTS_PER_UVI * self.uvi, "temperature_c": 27.0}


@pytest.fixture
def light(tmp_path: Path) -> Iterator[Light]:
    """A board is plugged in, and a light is on."""
    found, clock = Light(), SystemClock()
    (tmp_path / "ports").mkdir()
    with PtyBench(tmp_path / "ports") as bench:
        bench.add(SimulatedBoard(_MODEL, found.levels, seed=1), clock.moment().mono_ms)
        with bench.running(clock):
            yield found


def test_from_an_empty_folder_to_the_first_alert(light: Light, start_broker, listen, tmp_path: Path) -> None:
    home, broker, port = tmp_path / "home", start_broker(), free_port()
    home.mkdir()

    said = init(home, ports=f"{tmp_path}/ports/board-*", broker=f"127.0.0.1:{broker.port}")
    assert "1 to mend." in said
    assert "1. baskline calibrate slate_ledge" in said
    assert "2. baskline run" in said

    (home / "points.csv").write_text(_POINTS.format(today=today()))
    fitted = baskline("calibrate", "fit", "points.csv", "-o", "ledge.toml", folder=home)
    assert fitted.code == 0, fitted.err
    config = home / "baskline.toml"
    text = config.read_text().replace("[page]", f"[page]\nport = {port}")
    text = text.replace('label = "Slate ledge"', 'label = "Slate ledge"\ncalibration = "ledge.toml"')
    # The newcomer waits for a minute; we do not.
    config.write_text(f"{text}\n[spot.slate_ledge.rules]\nover_hold_s = 2\n")
    checked = baskline("check", folder=home)
    assert (checked.code, checked.out.splitlines()[-1]) == (0, "All is well.")

    hub = listen(
        MqttSettings(host="127.0.0.1", port=broker.port, site="home", bridge="reptile-room"),
        "baskline/home/reptile-room/event",
    )
    running = subprocess.Popen(
        [*PROGRAM, "run"],
        cwd=home,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        until(lambda: "in its band" in page(port), "the spot in its band on the page")
        light.uvi = 6.0
        told = json.loads(hub.next().payload)
        assert (told["event_type"], told["subject"]) == ("over_ceiling_opened", "slate_ledge")
        assert re.fullmatch(r"above the ceiling, 6\.0 ± 0\.\d over 4 \(k = 2\)", told["sentence"])
        (event,) = httpx.get(f"http://127.0.0.1:{port}/api/v1/events").json()["events"]
        assert event["identity"] == told["identity"]
        until(lambda: "1 spot needs you now: Slate ledge" in page(port), "the alert on the page")
        (listed,) = json.loads(baskline("events", "--json", folder=home).out)["events"]
        assert listed["identity"] == told["identity"]
        assert listed["sentence"] == told["sentence"]
    finally:
        running.terminate()
        out, err = running.communicate(timeout=30)
    assert running.returncode == 0, err
    assert '"stopped"' in out


def init(folder: Path, *, ports: str, broker: str) -> str:
    """Type the answers to `baskline init` as it asks; return all that it said."""
    process = subprocess.Popen(
        [*PROGRAM, "init"],
        cwd=folder,
        env=environment(HOME=str(folder)),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    said, answers = "", dict(_ANSWERS)
    with process, process.stdin as typed:
        while piece := process.stdout.read1():  # type: ignore[attr-defined]
            said += piece.decode()
            question = said.rpartition("\n")[2].strip()
            if question.endswith(":"):
                name = next(name for name in answers if question.startswith(name))
                typed.write(f"{answers.pop(name).format(ports=ports, broker=broker)}\n".encode())
                typed.flush()
    assert process.returncode == 0, said
    assert answers == {}
    return said


def today() -> str:
    return datetime.fromtimestamp(SystemClock().moment().wall_ms / 1000, UTC).date().isoformat()


def page(port: int) -> str:
    try:
        return httpx.get(f"http://127.0.0.1:{port}/").text
    except httpx.TransportError:
        return ""
