"""`baskline boards` with boards on real pseudo-terminals."""

import json
import os
import re
import threading
import tty
from dataclasses import replace

import pytest

from firmware_host.clock import SystemClock
from tests.baskline.making import room, said_here
from tests.baskline.plugged import MODEL, plugged, rock


@pytest.fixture
def home(tmp_path):
    room(tmp_path, ports=f"{tmp_path}/ports/*")
    return tmp_path


def boards(folder, *words, seconds=6):
    said = said_here("boards", "--seconds", seconds, *words, folder=folder)
    assert said.code == 0
    assert said.err == ""
    return said.out


def test_the_cautions_stand_before_anything_is_touched(home):
    first, blank, *_ = boards(home, seconds=1).splitlines()
    assert first.startswith("Before you reach in: lamps are hot and their UV hurts eyes and skin.")
    assert first.endswith("baskline only measures; it never switches a lamp.")
    assert blank == ""


def test_a_board_is_named_with_what_it_says_of_itself_and_its_latest_reading(home):
    with plugged(home / "ports", [rock()]):
        said = boards(home)
    assert f"rock-1  on {home}/ports/board-rock-1: simulated-1, sensor simulated\n" in said
    assert "    a reading each 0.2 s, remembers the last 600\n" in said
    assert "    latest: uva_counts=2000  temperature_c=31\n" in said
    assert "not heard" not in said
    assert "new" not in said


def test_a_board_that_is_not_configured_says_what_to_write(home):
    with plugged(home / "ports", [rock(replace(MODEL, board="cave-1"))]):
        said = boards(home)
        assert 'new: to watch a spot with it, add [board.NAME] with identity = "cave-1"' in said
        assert "rock-1  not heard, though the configuration has it (Behind the slate)\n" in said
        found = json.loads(boards(home, "--json"))
    assert [(board["board"], board["key"]) for board in found["boards"]] == [("cave-1", None)]
    assert found["unheard"] == ["rock-1"]


def test_a_board_has_its_key_in_json(home):
    with plugged(home / "ports", [rock()]):
        (board,) = json.loads(boards(home, "--json"))["boards"]
    assert board["key"] == "rock"
    assert board["latest"] == {"uva_counts": 2000.0, "temperature_c": 31.0}
    assert board["readings"] >= 1


def test_no_port_at_all_says_what_to_plug_in(home):
    assert "No serial port found. Plug a board in with a data cable" in boards(home, seconds=1)


@pytest.fixture
def plain_port(home):
    """A port on which something else than a board of ours may talk."""
    (home / "ports").mkdir()
    master, slave = os.openpty()
    tty.setraw(slave)
    (home / "ports" / "board-other").symlink_to(os.ttyname(slave))
    yield master
    os.close(slave)
    os.close(master)


def test_a_silent_port_says_to_flash_the_firmware(home, plain_port):
    assert "board-other  silent. Flash the firmware on the board (hardware/README.md)." in boards(
        home, seconds=1
    )


def test_a_port_that_talks_something_else_says_how_to_describe_it(home, plain_port):
    done = threading.Event()

    def talk():
        while not done.wait(0.1):
            os.write(plain_port, b"512;27.4\n")

    talking = threading.Thread(target=talk)
    talking.start()
    said = boards(home, seconds=2)
    done.set()
    talking.join()
    assert re.search(r"\d+ bytes, but not in baskline's wire format", said)
    assert "describe them in [board.NAME.mapping] (ingest/CONFIG.md)" in said
    assert json.loads(boards(home, "--json", seconds=1))["boards"] == []


def test_a_port_that_cannot_be_opened_says_why(home):
    (home / "ports").mkdir()
    (home / "ports" / "not-a-port").write_text("a file")
    said = boards(home, seconds=2)
    assert f"{home}/ports/not-a-port  " in said
    (problem,) = json.loads(boards(home, "--json", seconds=2))["problems"]
    assert problem["what"]
    assert problem["do"]


def test_it_ends_as_soon_as_every_port_has_spoken(home):
    clock = SystemClock()
    with plugged(home / "ports", [rock()]):
        before_ms = clock.moment().mono_ms
        boards(home, seconds=60)
        assert clock.moment().mono_ms - before_ms < 30_000


def test_it_works_without_a_configuration(tmp_path):
    assert "Before you reach in" in boards(tmp_path, seconds=1)
