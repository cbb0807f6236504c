"""What `baskline init` knows of the computer: its time zone, and a unit that systemd takes."""

import configparser
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from baskline.first_hour.machine import lacks_group, time_zone_here
from baskline.first_hour.service import Service, unit_text


@pytest.fixture
def program(tmp_path) -> Path:
    """An executable in a folder whose name holds what units take for signs of their own."""
    path = tmp_path / "my 50 % room" / "baskline"
    path.parent.mkdir()
    path.write_text("#!/bin/sh\n")
    path.chmod(0o755)
    return path


def service(program: Path, user: str | None) -> Service:
    folder = program.parent / 'the "best" of $5'
    folder.mkdir(exist_ok=True)
    return Service(program, folder / "baskline.toml", (folder,), user)


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="there is no systemd here")
@pytest.mark.parametrize("user", [None, "root"], ids=["own", "system"])
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path, program, user):
    unit = tmp_path / "baskline.service"
    unit.write_text(unit_text(service(program, user)))
    scope = ["--user"] if user is None else []
    said = subprocess.run(
        ["systemd-analyze", *scope, "verify", "--man=no", "--recursive-errors=no", unit],
        capture_output=True,
        text=True,
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path), "SYSTEMD_LOG_LEVEL": "warning"},
    )
    about_it = [line for line in (said.stdout + said.stderr).splitlines() if "baskline" in line]
    assert about_it == []
    assert said.returncode == 0, said.stderr


@pytest.mark.parametrize("user", [None, "keeper"], ids=["own", "system"])
def test_the_unit_is_one_and_starts_the_watch(program, user):
    parser = configparser.ConfigParser(interpolation=None, strict=False)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(unit_text(service(program, user)))
    command = parser["Service"]["ExecStart"]
    config = str(program.parent).replace("%", "%%") + r"/the \"best\" of $$5/baskline.toml"
    assert command.endswith(f'my 50 %% room/baskline" run --config "{config}"')
    assert parser["Service"]["Restart"] == "on-failure"
    assert parser["Install"]["WantedBy"] == ("default.target" if user is None else "multi-user.target")


def test_nothing_in_the_unit_takes_the_serial_ports_away(program):
    for user in (None, "keeper"):
        text = unit_text(service(program, user))
        for taking in ("PrivateDevices", "DevicePolicy", "DeviceAllow", "ProtectClock", "PrivateUsers"):
            assert taking not in text
    assert "SupplementaryGroups=dialout\n" in text
    # What needs a name space in the user's own manager would lose the group.
    assert "Protect" not in unit_text(service(program, None))


def linked(folder: Path, zone: str) -> Path:
    path = folder / "localtime"
    path.symlink_to(f"/usr/share/zoneinfo/{zone}")
    return path


@pytest.mark.parametrize(
    ("tz", "link", "name", "expected"),
    [
        ("Asia/Tokyo", "Europe/Vienna", "Europe/Rome", "Asia/Tokyo"),
        (":Asia/Tokyo", "Europe/Vienna", "Europe/Rome", "Asia/Tokyo"),
        ("CEST-2", "Europe/Vienna", "Europe/Rome", "Europe/Vienna"),
        ("", "Europe/Vienna", "Europe/Rome", "Europe/Vienna"),
        ("", "", "Europe/Rome", "Europe/Rome"),
        ("", "", "nonsense", "UTC"),
    ],
)
def test_the_time_zone_is_what_the_system_is_set_to(tmp_path, monkeypatch, tz, link, name, expected):
    monkeypatch.setenv("TZ", tz)
    named = tmp_path / "timezone"
    named.write_text(f"{name}\n")
    localtime = linked(tmp_path, link) if link else tmp_path / "none"
    assert time_zone_here(localtime, named) == expected


def test_a_group_that_this_computer_does_not_have_is_not_lacking():
    assert not lacks_group("no-such-group-here")
