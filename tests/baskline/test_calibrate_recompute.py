"""`baskline recompute` on a day of a live board."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from baskline.commands.recompute import recompute
from calibrate.calibration_file import write_calibration
from calibrate.errors import KeeperError
from calibrate.models import LineModel
from firmware_host.clock import SystemClock
from ingest.config import load_config
from ingest.store.store import Store
from ingest.temporary_daemon import running_daemon
from tests.baskline.guided_room import Room, calibration_of

app = typer.Typer()
app.command()(recompute)


@pytest.fixture
def room(tmp_path: Path) -> Room:
    """A room whose board was listened to for a second."""
    room = Room(tmp_path, calibration="slate.toml", cadence_ms=20)
    write_calibration(tmp_path / "slate.toml", calibration_of(room))
    clock = SystemClock()
    with room.live(clock), running_daemon(load_config(room.config_file), clock):
        clock.wait_s(1.0)
    return room


def run(room: Room, *words: str) -> str:
    result = CliRunner().invoke(app, [*words, "-c", str(room.config_file)], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_a_recomputation_is_told_and_taken_back(room: Room, tmp_path: Path) -> None:
    twice = replace(calibration_of(room), model=LineModel(("uva_counts",), (room.dark_counts,), (2 / 96,)))
    write_calibration(tmp_path / "twice.toml", twice)
    today = twice.made_on.isoformat()
    ask = ("--from", "2020-01-01", "--spot", "slate", "--calibration", str(tmp_path / "twice.toml"))
    told = json.loads(run(room, *ask, "--json"))
    (spot,) = told["spots"]
    day = spot["days"][-1]
    assert day["after"]["peak_uvi"] == pytest.approx(2 * day["before"]["peak_uvi"], rel=0.01)
    assert "nothing has changed" in run(room, *ask)
    words = run(room, "--undo", str(spot["generation"]))
    assert "taken back" in words
    assert today[:7] in words
    again = run(room, "--from", "2020-01-01", "--spot", "slate", "--calibration", twice.identity)
    assert "To take it back" in again


def test_what_cannot_be_meant_is_refused(room: Room) -> None:
    def refused(*words: str) -> str:
        result = CliRunner().invoke(app, [*words, "-c", str(room.config_file)])
        assert result.exit_code != 0
        return str(result.exception) if isinstance(result.exception, KeeperError) else result.output

    assert "spot" in refused("--from", "2020-01-01", "--calibration", "some.toml")
    assert "slate" in refused("--from", "2020-01-01", "--spot", "salte")
    assert "neither a file" in refused("--from", "2020-01-01", "--spot", "slate", "--calibration", "abc")
    assert "from which day" in refused()
    assert "stands alone" in refused("--undo", "1", "--from", "2020-01-01")
    assert "is not a date" in refused("--from", "yesterday")
    assert "before" in refused("--from", "2020-01-02", "--to", "2020-01-01")
    assert "no recomputation" in refused("--undo", "1")


def test_it_works_beside_a_daemon_that_goes_on_storing(room: Room, tmp_path: Path) -> None:
    twice = replace(calibration_of(room), model=LineModel(("uva_counts",), (room.dark_counts,), (2 / 96,)))
    write_calibration(tmp_path / "twice.toml", twice)
    config, clock = load_config(room.config_file), SystemClock()
    with room.live(clock), running_daemon(config, clock):
        told = run(
            room, "--from", "2020-01-01", "--spot", "slate", "--calibration", str(tmp_path / "twice.toml")
        )
        with Store.open(config.bridge.store, read_only=True) as store:
            before = store.readings.extent("stone-1")
            clock.wait_s(1.0)
            assert store.readings.extent("stone-1")[1] > before[1]
    assert "restart it" in told
