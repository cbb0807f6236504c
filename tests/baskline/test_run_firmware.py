"""The main job on real input: the board's own program, the daemon, a subscriber, the keeper's day."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from calibrate.calibration import Channel
from calibrate.calibration_file import format_calibration
from calibrate.models import LineModel
from ingest.mqtt.settings import MqttSettings
from tests.baskline.running import Daemon, Room, until
from tests.brokers import Broker, Listener
from tests.hardware.firmware_bench import FirmwareBench
from tests.ingest.rig import calibration


class Cable:
    """The board under MicroPython and the name of its port, which stays while the port changes."""

    def __init__(self, folder: Path, ports: Path) -> None:
        self.bench = FirmwareBench(folder, settings={"cadence_ms": 100, "sensor": "guva-s12sd"})
        self._name = ports / "board-firmware"

    def plug(self) -> None:
        self._name.symlink_to(self.bench.plug())

    def unplug(self) -> None:
        self._name.unlink(missing_ok=True)
        self.bench.unplug()

    def let_uvi_be(self, uvi: float) -> None:
        """Light the photodiode so that its calibration gives this."""
        self.bench.set_light_mv(12 + uvi / 0.003)


@pytest.fixture
def firmware(tmp_path: Path) -> Iterator[Cable]:
    (tmp_path / "ports").mkdir()
    cable = Cable(tmp_path / "board", tmp_path / "ports")
    yield cable
    cable.unplug()


def test_from_the_boards_program_to_the_keepers_alert_and_day(
    tmp_path: Path,
    firmware: Cable,
    start_broker: Callable[..., Broker],
    listen: Callable[..., Listener],
) -> None:
    broker = MqttSettings(host="127.0.0.1", port=start_broker().port, site="home", bridge="room")
    identity = firmware.bench.identity
    room = Room(tmp_path, str(tmp_path / "ports" / "board-*"))
    room.configure(broker=broker, rules="over_hold_s = 1\nback_hold_s = 1\n", identity=identity)
    photodiode = replace(
        calibration(),
        model=LineModel(("photodiode_mv",), (12.0,), (0.003,)),
        channels=(Channel("photodiode_mv", noise=1.0),),
        temperature=None,
    )
    (tmp_path / "ledge.toml").write_text(format_calibration(photodiode))
    listener = listen(broker, "baskline/#", "homeassistant/#")
    firmware.let_uvi_be(1.8)
    firmware.plug()
    daemon = Daemon(room)
    try:
        known = daemon.until_logged("board identified")
        assert known["board"] == identity

        state = listener.until(lambda heard: "ledge/state" in heard.topic and b"in_band" in heard.payload)
        shown = json.loads(state.payload)
        assert shown["uvi"] == pytest.approx(1.8, abs=0.05)
        assert shown["u_uvi"] > 0
        assert set(shown["flags"]) <= {"clock_unsure"}  # the machine of the test may have no time server

        room.until_stored(30, identity)
        firmware.let_uvi_be(6.0)
        message = listener.until(lambda heard: heard.topic == "baskline/home/room/event")
        event = json.loads(message.payload)
        assert event["event_type"] == "over_ceiling_opened"
        assert event["evidence"]["uvi"] == pytest.approx(6.0, abs=0.1)

        firmware.let_uvi_be(1.8)
        back = listener.until(
            lambda heard: (
                heard.topic == "baskline/home/room/event" and b"over_ceiling_closed" in heard.payload
            )
        )
        assert json.loads(back.payload)["identity"] == event["identity"]

        firmware.unplug()
        daemon.until_logged("port closed")
        firmware.plug()
        until(lambda: len(room.seqs(identity)) == 2, "readings of the board's second start")
        board = listener.until(
            lambda heard: heard.topic.endswith(f"{identity}/state") and b'"guva-s12sd"' in heard.payload
        )
        assert json.loads(board.payload)["lost_readings"] == 0
        assert daemon.stop()[0] == 0
    finally:
        daemon.kill()

    for seqs in room.seqs(identity).values():
        assert sorted(seqs) == list(range(min(seqs), max(seqs) + 1))
    day = json.loads(room.command("day", "ledge", "--json").stdout)
    assert day["peak_uvi"] == pytest.approx(6.0, abs=0.1)
    assert day["dose_uvi_h"] > 0
    events = json.loads(room.command("events", "--json").stdout)["events"]
    assert event["identity"] in [each["identity"] for each in events]
