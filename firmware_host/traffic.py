"""What happens on the serial links, as values: the input of everything after them, live or replayed."""

from dataclasses import dataclass
from typing import TypeAlias

from firmware_host.clock import Moment


@dataclass(frozen=True, slots=True)
class LinkOpened:
    """A port was opened.  `link` numbers openings from 1 and is never used again in one run.

    `usb` is the USB serial number of the device where it has one, else ''.
    """

    at: Moment
    link: int
    port: str
    usb: str


@dataclass(frozen=True, slots=True)
class LinkClosed:
    """A port went away or was closed; `reason` in words for the log."""

    at: Moment
    link: int
    reason: str


@dataclass(frozen=True, slots=True)
class Received:
    """Bytes that arrived on a link."""

    at: Moment
    link: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Quiet:
    """Nothing happened on any link up to this moment: time passed, and that is news to whoever waits."""

    at: Moment


Traffic: TypeAlias = LinkOpened | LinkClosed | Received | Quiet
