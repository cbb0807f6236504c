"""The JSON of commands that look at boards or replay a capture, against baskline/OUTPUT.md."""

import json
import shutil
from pathlib import Path

import pytest

from tests.baskline.documented import departures, sections, table
from tests.baskline.making import demo_folder, leave_first_hours, room, said_here
from tests.baskline.plugged import plugged, rock
from tests.hardware.firmware_bench import FirmwareBench


def json_of(*words: object, folder: Path) -> dict[str, object]:
    said = said_here(*words, "--json", folder=folder)
    assert (said.code, said.err) == (0, "")
    document: dict[str, object] = json.loads(said.out)
    return document


def keys(command: str) -> dict[str, str]:
    return table(sections()[f"`baskline {command} --json`"])


def test_listen_has_the_documented_keys_and_types(tmp_path):
    room(tmp_path, ports=f"{tmp_path}/ports/*")
    with plugged(tmp_path / "ports", [rock()]):
        document = json_of("listen", "rock", "--seconds", "2", folder=tmp_path)
    assert departures(document, keys("listen --seconds N")) == []
    (board,) = document["boards"]
    assert board["board"] == "rock-1"
    assert [channel["name"] for channel in board["channels"]] == ["uva_counts", "temperature_c"]


def test_flash_has_the_documented_keys_and_types(tmp_path):
    bench = FirmwareBench(tmp_path / "board", bare=True)
    bench.plug()
    try:
        document = json_of(
            "flash", bench.port, "--cadence-ms", "250", "--label", "rock", "--seconds", "2", folder=tmp_path
        )
    finally:
        bench.unplug()
    assert departures(document, keys("flash")) == []
    assert document["ports"][0]["occupant"] == "prompt"
    flashed = document["flashed"]
    assert flashed["settings"] == {"cadence_ms": 250, "label": "rock"}
    assert len(flashed["written"]) == flashed["files"]
    assert flashed["heard"]["board"] == bench.identity
    assert flashed["heard"]["readings"] >= 1


def test_flash_without_a_port_writes_nothing(tmp_path):
    document = json_of("flash", folder=tmp_path)
    assert departures(document, keys("flash")) == []
    assert document["flashed"] is None


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


def test_replay_has_the_documented_keys_and_types(demo, tmp_path):
    home = shutil.copytree(demo, tmp_path / "demo")
    leave_first_hours(home / "demo.capture")
    document = json_of("replay", "demo.capture", "--store", "first-hours.db", folder=home)
    assert departures(document, keys("replay CAPTURE --store FILE")) == []
    assert document["new_readings"] > 1_000
    assert json_of("replay", "demo.capture", "--store", "first-hours.db", folder=home)["new_readings"] == 0


@pytest.mark.parametrize("command", ["acknowledge EVENT|SPOT", "close EVENT"])
def test_what_was_acknowledged_or_closed_has_the_documented_keys_and_types(demo, tmp_path, command):
    home = shutil.copytree(demo, tmp_path / "demo")
    (event, *_) = json_of("events", "--open", folder=home)["events"]
    document = json_of(command.split()[0], event["identity"], folder=home)
    assert departures(document, keys(command)) == []
    (changed,) = document["events"]
    assert departures(changed, table(sections()["An event"])) == []
    assert changed["identity"] == event["identity"]


def test_a_spot_where_nothing_is_open_gives_an_empty_list(demo, tmp_path):
    home = shutil.copytree(demo, tmp_path / "demo")
    json_of("acknowledge", "slate", folder=home)
    assert json_of("acknowledge", "slate", folder=home)["events"] == []
