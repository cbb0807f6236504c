"""`calibrate verify` on a live board."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from baskline.commands.calibrate import calibrate
from calibrate.calibration_file import write_calibration
from calibrate.errors import KeeperError
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.store.store import Store
from ingest.temporary_daemon import running_daemon
from tests.baskline.guided_room import Room, calibration_of


@pytest.fixture
def room(tmp_path: Path) -> Room:
    room = Room(tmp_path, calibration="slate.toml", cadence_ms=50)
    write_calibration(tmp_path / "slate.toml", calibration_of(room))
    return room


def verify(room: Room, *words: str) -> str:
    arguments = ["verify", "slate", "-c", str(room.config_file), "--seconds", "1", *words]
    result = CliRunner().invoke(calibrate, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_a_spot_is_checked_beside_a_daemon_and_by_itself(room: Room) -> None:
    clock = SystemClock()
    with room.live(clock):
        with running_daemon(load_config(room.config_file), clock):
            first = json.loads(verify(room, "--reference", "3.0", "--json"))
        room.uvi = 2.0
        second = json.loads(verify(room, "--reference", "3.0", "--json"))
    assert first["check"]["verdict"] == "within"
    assert first["check"]["uvi"] == pytest.approx(3.0, abs=0.05)
    assert not first["overdue"]
    assert second["check"]["verdict"] == "out"
    assert second["moved"] == "sensor"
    assert [check["id"] for check in second["checks"]] == [1, 2]

    drawn = room.config_file.with_name("checks.svg")
    told = verify(room, "--chart", str(drawn))
    assert f"Drawn: {drawn}" in told
    assert "<svg" in drawn.read_text()
    assert "o" in told
    assert "it is the sensor" in told
    assert "E_n" in told
    assert "Next check" in told
    assert len(json.loads(verify(room, "--withdraw", "2", "--json"))["checks"]) == 1


def test_what_cannot_be_checked_is_told(room: Room, tmp_path: Path) -> None:
    def refused(*words: str) -> KeeperError:
        result = CliRunner().invoke(calibrate, ["verify", *words, "-c", str(room.config_file)])
        assert isinstance(result.exception, KeeperError), result.output
        assert result.exception.remedy
        return result.exception

    assert "slate" in refused("salte", "--reference", "2").remedy
    assert "nothing is stored" in refused("slate").what
    with Store.open(load_config(room.config_file).bridge.store):
        pass
    assert "nothing to draw" in refused("slate", "--chart", str(tmp_path / "checks.svg")).what
    (tmp_path / "slate.toml").unlink()
    assert "no such calibration" in refused("slate", "--reference", "2").what
