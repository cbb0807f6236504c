"""Which serial ports there are to open, and why one cannot be opened, in words."""

import errno
import glob
import os
import stat
import termios
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol, TypeAlias

from serial.tools import list_ports

from calibrate.errors import KeeperError

AUTO: Final = "auto"
"""Instead of a path: every USB serial device."""


class PortError(KeeperError):
    """A serial port that cannot be used."""


@dataclass(frozen=True, slots=True)
class PortWish:
    """What the keeper wants opened: a path, a glob pattern, or `AUTO`.

    `baud` means nothing to boards with USB of their own, and everything to those behind a serial converter.
    """

    pattern: str = AUTO
    baud: int = 115_200


@dataclass(frozen=True, slots=True)
class Port:
    """A port to open.  `path` is as wished or found, `device` the same without symbolic links.

    `usb` is the USB serial number of the device where it has one, else ''.
    """

    path: str
    device: str
    usb: str
    baud: int


class ListedPort(Protocol):
    """What pyserial says of a port."""

    device: str
    vid: int | None
    serial_number: str | None


Listing: TypeAlias = Callable[[], Iterable[ListedPort]]


def find_ports(wishes: Sequence[PortWish], listing: Listing = list_ports.comports) -> list[Port]:
    """Return the ports to open now, each device once; the first wish that names a device counts.

    A path that is no pattern is returned even where nothing is there, so that opening it tells the keeper.
    `AUTO` takes USB devices only: neither Bluetooth nor the machine's own UARTs, on which its console may be.
    """
    usb_of = {
        os.path.realpath(listed.device): listed.serial_number or ""
        for listed in listing()
        if listed.vid is not None
    }
    found: dict[str, Port] = {}
    for wish in wishes:
        for path in sorted(usb_of) if wish.pattern == AUTO else _matching(wish.pattern):
            device = os.path.realpath(path)
            found.setdefault(device, Port(path, device, usb_of.get(device, ""), wish.baud))
    return list(found.values())


def _matching(pattern: str) -> list[str]:
    if glob.has_magic(pattern):
        return sorted(glob.glob(pattern))  # noqa: PTH207 - absolute patterns too
    return [pattern]


def explain(path: str, error: OSError) -> PortError:
    """Say what is in the way of using a port, and what to do about it."""
    match _error_number(error):
        case errno.ENOENT | errno.ENODEV | errno.ENXIO:
            return PortError(
                "there is no such port",
                where=path,
                remedy="Plug the board in; `baskline boards` lists the ports that are there",
            )
        case errno.EACCES | errno.EPERM:
            return PortError("no permission to open it", where=path, remedy=_permission_remedy(path))
        case errno.EBUSY | errno.EAGAIN:
            return PortError(
                "another program holds it",
                where=path,
                remedy="Stop that program, such as `baskline run` or a serial monitor",
            )
        case errno.ENOTTY | errno.EINVAL | errno.EISDIR:
            return PortError(
                "it is not a serial port",
                where=path,
                remedy="`baskline boards` lists the ports that are there",
            )
        case errno.EIO:
            return PortError(
                "it does not answer",
                where=path,
                remedy="Unplug the board, wait a moment and plug it in again",
            )
        case _:
            return PortError(
                error.strerror or str(error), where=path, remedy="Unplug the board and plug it in again"
            )


def _error_number(error: OSError) -> int | None:
    """Return the number; where pyserial lost it on the way, that of what it was raised from."""
    if error.errno is None and isinstance(error.__context__, termios.error):
        return int(error.__context__.args[0])
    return error.errno


def _permission_remedy(path: str) -> str:
    try:
        status = Path(path).stat()
        group = Path(path).group()
    except (OSError, KeyError):
        return "Ask whoever looks after this machine for access to it"
    group_may = stat.S_IRGRP | stat.S_IWGRP
    if status.st_gid == 0 or status.st_mode & group_may != group_may:
        return f"No group has access to it (group {group}): it needs a udev rule that gives it to dialout"
    return f"Join its group with `sudo usermod -aG {group} $USER`, then log out and in again"
