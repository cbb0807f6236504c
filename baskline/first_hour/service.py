"""A systemd unit for `baskline run`: hardened as far as serial ports can still be read."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

NAME: Final = "baskline.service"


@dataclass(frozen=True, slots=True)
class Service:
    """What the unit starts.  `user` is None in a unit of the user's own manager."""

    program: Path
    config: Path
    writes: tuple[Path, ...]
    user: str | None
    groups: tuple[str, ...] = ("dialout",)


def program_here() -> Path:
    """Return the `baskline` that is running."""
    beside = Path(sys.executable).parent / "baskline"
    return beside if beside.exists() else Path(sys.argv[0]).absolute()


def user_unit_file(home: Path) -> Path:
    """Return where a unit of the user's own manager belongs."""
    return home / ".config" / "systemd" / "user" / NAME


def unit_text(service: Service) -> str:
    """Return the unit.

    Not among the hardening: PrivateDevices, DevicePolicy and ProtectClock, which take the serial ports away
    or lose those that come later; MemoryDenyWriteExecute, because charts are drawn by a compiler.  In the
    user's own manager what needs a name space is left out: it would lose the group of the serial ports.
    """
    program, config = (_word(path).replace("$", "$$") for path in (service.program, service.config))
    parts = [
        "[Unit]",
        "Description=baskline, a continuous UV Index watch",
        *(() if service.user is None else ("Wants=network-online.target", "After=network-online.target")),
        "",
        "[Service]",
        "Type=exec",
        f"ExecStart={program} run --config {config}",
        f"WorkingDirectory={_escaped(service.config.parent)}",
        "Restart=on-failure",
        "RestartSec=10",
        "TimeoutStopSec=60",
        "UMask=0027",
        "NoNewPrivileges=yes",
        "LockPersonality=yes",
        "RestrictRealtime=yes",
        "RestrictSUIDSGID=yes",
        "SystemCallArchitectures=native",
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6",
        *(_of_the_system(service, service.user) if service.user is not None else ()),
        "",
        "[Install]",
        f"WantedBy={'default.target' if service.user is None else 'multi-user.target'}",
        "",
    ]
    return "\n".join(parts)


def _of_the_system(service: Service, user: str) -> Sequence[str]:
    return (
        f"User={user}",
        "# Serial ports belong to this group.",
        f"SupplementaryGroups={' '.join(service.groups)}",
        "CapabilityBoundingSet=",
        "PrivateTmp=yes",
        "ProtectSystem=strict",
        "ProtectHome=read-only",
        *(f"ReadWritePaths={_word(folder)}" for folder in service.writes),
        "ProtectControlGroups=yes",
        "ProtectHostname=yes",
        "ProtectKernelLogs=yes",
        "ProtectKernelModules=yes",
        "ProtectKernelTunables=yes",
        "RestrictNamespaces=yes",
    )


def _word(path: Path) -> str:
    """Return a path as one word of a unit: its own signs mean themselves."""
    text = _escaped(path).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"' if any(sign in text for sign in " \t'\"\\;") else text


def _escaped(path: Path) -> str:
    return str(path).replace("%", "%%")
