"""baskline/API.md: its commands work, its answers are such, its tables are whole."""

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

import baskline
from tests.baskline.api.conftest import TOKEN
from tests.baskline.page.rooms import PageRoom, RunningPage

PAGE = (Path(baskline.__file__).parent / "API.md").read_text("utf-8")
COMMANDS = [
    line
    for block in re.findall(r"^```sh\n(.*?)^```$", PAGE, flags=re.M | re.S)
    for line in block.splitlines()
]
ANSWERS = [json.loads(block) for block in re.findall(r"^```json\n(.*?)^```$", PAGE, flags=re.M | re.S)]
_TIME_IS_UP = 28  # curl(1): the stream goes on for ever


def said(command: str, url: str) -> str:
    """Return what a command prints."""
    if shutil.which("curl") is None:
        missing = "curl is not installed: apt-get install curl"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    done = subprocess.run(
        ["sh", "-c", command],
        env={**os.environ, "BASKLINE": url, "TOKEN": TOKEN},
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert done.returncode == (_TIME_IS_UP if "/live" in command else 0), done.stdout + done.stderr
    return done.stdout


def test_every_command_works(served: RunningPage) -> None:
    assert len(COMMANDS) >= 9
    for command in COMMANDS:
        answer = said(command, served.url)
        if "/live" in command:
            assert {"bridge", "spot", "happening"} == set(re.findall(r"^event: (\w+)", answer, flags=re.M))
        else:
            assert json.loads(answer)


def test_the_answers_are_such(served: RunningPage) -> None:
    (spot,) = [command for command in COMMANDS if '/spots/ledge"' in command]
    (wrong,) = [command for command in COMMANDS if "legde" in command]
    now, problem = (json.loads(said(command, served.url)) for command in (spot, wrong))
    shown = ANSWERS[0]
    assert list(shown) == list(now)
    unlike = {"calibration", "uvi", "u_uvi", "last", "dose_uvi_h", "coverage"}
    assert {key: shown[key] for key in shown.keys() - unlike} == {
        key: now[key] for key in now.keys() - unlike
    }
    for key in ("uvi", "u_uvi", "dose_uvi_h", "coverage"):
        assert shown[key] == pytest.approx(now[key], rel=0.05), f"{key} is {now[key]} by now"
    assert problem == ANSWERS[1]


def test_the_tables_have_every_path_and_no_other(room: PageRoom, program) -> None:
    described = program.get("/api/v1/openapi.json").json()["paths"]
    looking, changing = PAGE.split("## Changing")
    rows = re.findall(r"^\| (`/.+?`) \| ", looking, flags=re.M)
    assert {path for row in rows for path in re.findall(r"`(/[^`]*)`", row)} == {
        path for path, operations in described.items() if "get" in operations
    }
    assert set(re.findall(r"^\| POST `(/[^`]+)` \|", changing, flags=re.M)) == {
        path for path, operations in described.items() if "post" in operations
    }


def test_every_status_that_can_come_is_explained(room: PageRoom, program) -> None:
    described = program.get("/api/v1/openapi.json").json()["paths"]
    can_come = {
        status
        for operations in described.values()
        for operation in operations.values()
        for status in operation["responses"]
        if status >= "400"
    }
    explained = re.findall(r"^\| ([\d, ]+) \| ", PAGE, flags=re.M)
    of_the_guard = {"408", "413", "421"}
    assert can_come | of_the_guard | {"500"} == {status for cell in explained for status in cell.split(", ")}
