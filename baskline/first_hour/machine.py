"""What this computer can tell by itself: its time zone, its groups, a broker beside it."""

import contextlib
import grp
import os
import socket
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

_ZONES: Final = "/zoneinfo/"
_BROKER: Final = ("localhost", 1883)
_BROKER_WITHIN_S: Final = 0.5


def time_zone_here(localtime: Path = Path("/etc/localtime"), named: Path = Path("/etc/timezone")) -> str:
    """Return the time zone that the system is set to, or UTC where it does not say."""
    candidates = [os.environ.get("TZ", "").lstrip(":")]
    target = os.path.realpath(localtime)
    candidates.append(target.partition(_ZONES)[2])
    with contextlib.suppress(OSError, UnicodeDecodeError):
        candidates.append(named.read_text("utf-8").strip())
    return next((zone for zone in candidates if _is_zone(zone)), "UTC")


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        return False
    return bool(name)


def broker_here() -> bool:
    """Return whether something on this computer takes MQTT connections."""
    try:
        with socket.create_connection(_BROKER, _BROKER_WITHIN_S):
            return True
    except OSError:
        return False


def lacks_group(name: str) -> bool:
    """Return whether this user is outside a group that this computer has."""
    try:
        group = grp.getgrnam(name)
    except KeyError:
        return False
    return os.geteuid() != 0 and group.gr_gid not in {os.getegid(), *os.getgroups()}
