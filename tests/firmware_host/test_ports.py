import errno
import grp
import os
import pwd
from dataclasses import dataclass
from pathlib import Path

import pytest
import serial

from calibrate.errors import KeeperError
from firmware_host.ports import Port, PortError, PortWish, explain, find_ports


@dataclass
class Listed:
    """What pyserial's list holds of a port."""

    device: str
    vid: int | None = None
    serial_number: str | None = None


def listing() -> list[Listed]:
    return [
        Listed("/dev/ttyAMA0"),
        Listed("/dev/rfcomm0"),
        Listed("/dev/ttyUSB0", 0x10C4, "0001"),
        Listed("/dev/ttyACM0", 0x2E8A),
    ]


def test_auto_takes_usb_devices_only() -> None:
    assert find_ports([PortWish()], listing) == [
        Port("/dev/ttyACM0", "/dev/ttyACM0", "", 115_200),
        Port("/dev/ttyUSB0", "/dev/ttyUSB0", "0001", 115_200),
    ]


def test_a_machines_own_uart_is_taken_when_named() -> None:
    assert find_ports([PortWish("/dev/ttyAMA0", baud=9_600)], listing) == [
        Port("/dev/ttyAMA0", "/dev/ttyAMA0", "", 9_600)
    ]


def test_a_device_that_is_wished_twice_is_opened_once_as_first_wished(tmp_path: Path) -> None:
    by_id = tmp_path / "usb-sensor"
    by_id.symlink_to("/dev/ttyUSB0")
    found = find_ports([PortWish(str(by_id), baud=9_600), PortWish()], listing)
    assert found[0] == Port(str(by_id), "/dev/ttyUSB0", "0001", 9_600)
    assert [port.device for port in found] == ["/dev/ttyUSB0", "/dev/ttyACM0"]


def test_a_pattern_finds_what_is_there_and_a_path_is_kept_even_where_nothing_is(tmp_path: Path) -> None:
    for name in ("board-b", "board-a", "other"):
        (tmp_path / name).touch()
    found = find_ports([PortWish(str(tmp_path / "board-*")), PortWish("/dev/no-such-port")], list)
    assert [Path(port.path).name for port in found] == ["board-a", "board-b", "no-such-port"]


def test_the_real_list_of_ports_can_be_read() -> None:
    assert all(isinstance(port, Port) for port in find_ports([PortWish()]))


def test_no_permission_names_the_group_of_the_very_device(tmp_path: Path) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch()
    device.chmod(0o660)
    gid = next(entry.gr_gid for entry in grp.getgrall() if entry.gr_name == "dialout")
    try:
        os.chown(device, -1, gid)
    except PermissionError:
        gid = os.getgid()
    error = explain(str(device), PermissionError(errno.EACCES, "Permission denied"))
    assert f"usermod -aG {grp.getgrgid(gid).gr_name} $USER" in error.remedy or gid == 0
    assert str(device) in str(error)


@pytest.mark.parametrize("mode", [0o600, 0o640])
def test_no_permission_where_the_group_has_none_either_asks_for_a_rule(tmp_path: Path, mode: int) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch()
    device.chmod(mode)
    assert "udev rule" in explain(str(device), PermissionError(errno.EACCES, "Permission denied")).remedy


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOENT, "no such port"),
        (errno.EBUSY, "another program holds it"),
        (errno.EAGAIN, "another program holds it"),
        (errno.ENOTTY, "not a serial port"),
        (errno.EIO, "does not answer"),
        (errno.ENOSPC, "No space left on device"),
    ],
)
def test_each_reason_is_told_with_a_remedy(number: int, words: str) -> None:
    error = explain("/dev/ttyUSB0", OSError(number, os.strerror(number)))
    assert isinstance(error, PortError)
    assert isinstance(error, KeeperError)
    assert words in error.what
    assert error.where == "/dev/ttyUSB0"
    assert error.remedy


def test_a_file_that_is_no_serial_port_is_recognised(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.touch()
    with pytest.raises(serial.SerialException) as caught:
        serial.Serial(str(plain))
    assert "not a serial port" in explain(str(plain), caught.value).what


@pytest.mark.skipif(os.getuid() != 0, reason="needs another user to be refused as")
def test_a_real_refusal_is_recognised(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    device = tmp_path / "port"
    device.touch()
    device.chmod(0)
    child = os.fork()
    if child == 0:
        os.setuid(pwd.getpwnam("nobody").pw_uid)
        try:
            serial.Serial(str(device))
        except OSError as error:
            os._exit(7 if error.errno == errno.EACCES else 8)
        os._exit(9)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7
