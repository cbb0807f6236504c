"""What keeps the daemon from starting is said in one line, with what to do; at no cost to what was kept."""

from collections.abc import Callable

import pytest

from firmware_host.simulated.bench import PtyBench
from tests.baskline.running import Daemon, Room, now_ms
from tests.ingest.rig import Board

Run = Callable[..., Daemon]


def refused(room: Room, *arguments: str) -> str:
    """Return the one line that says why."""
    done = room.command("run", *arguments)
    assert done.returncode == 1
    [said] = [line for line in done.stderr.splitlines() if line.startswith("baskline:")]
    assert "Traceback" not in done.stderr + done.stdout
    return said


def test_a_second_daemon_on_the_same_store(room: Room, ports: PtyBench, run: Run) -> None:
    ports.add(Board(cadence_ms=50).simulated, now_ms())
    daemon = run()
    room.until_stored(10)
    capture = room.folder / "second.capture"
    assert "another daemon is writing to this store" in refused(room, "--capture", str(capture))
    assert not capture.exists()  # so that the next try is not refused for it
    before = room.n_stored()
    room.until_stored(before + 10)  # the first one is not disturbed
    assert daemon.stop()[0] == 0


def test_a_capture_file_that_is_there_already(room: Room) -> None:
    capture = room.folder / "old.capture"
    capture.write_bytes(b"all that is left of some day")
    assert str(capture) in refused(room, "--capture", str(capture))
    assert capture.read_bytes() == b"all that is left of some day"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('site = "home"', 'site = "home"\nsiet = 1', "siet"),
        ('site = "home"', 'site = "home"\nstore = "no/such/folder/x.db"', "folder"),
        ('calibration = "ledge.toml"', 'calibration = "baskline.toml"', "baskline.toml"),
        ("[serial]", '[mqtt]\nhost = "h"\nusername = "u"\npassword_file = "none"\n[serial]', "none"),
        ("[bridge]", "[bridge", "line"),
    ],
)
def test_a_mistake_in_the_configuration(room: Room, old: str, new: str, said: str) -> None:
    text = room.config_file.read_text()
    assert old in text
    room.config_file.write_text(text.replace(old, new, 1))
    assert said in refused(room)
    assert not room.store_file.exists() or said == "none"


def test_a_store_that_is_none(room: Room) -> None:
    room.store_file.write_bytes(b"somebody's letters" * 1000)
    assert "not a store" in refused(room)
    assert room.store_file.read_bytes().startswith(b"somebody's letters")


def test_a_port_that_cannot_be_opened_is_told_and_stops_nothing(
    room: Room, ports: PtyBench, run: Run
) -> None:
    ports.add(Board(cadence_ms=50).simulated, now_ms())
    text = room.config_file.read_text()
    room.config_file.write_text(text.replace('ports = ["', 'ports = ["/dev/no-such-port", "/dev/null", "'))
    daemon = run()
    for port, what in (("/dev/no-such-port", "there is no such port"), ("/dev/null", "not a serial port")):
        line = daemon.until_logged(what)
        assert line["port"] == port
        assert line["do"]
    room.until_stored(10)
    assert daemon.stop()[0] == 0
