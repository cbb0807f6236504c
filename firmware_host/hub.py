"""The serial ports of a host: one poll over all of them, whatever comes and goes.

Opening a port raises its DTR line, and many boards reset on that: they say hello with a new boot, and what
their memory held of the old one is gone.  So a port is opened once and kept.  Behind a serial converter
(`ttyUSB`) the lines are left up on closing, so that a restart of the host program resets no board.  A board
with USB of its own (`ttyACM`) needs them down, to know that nobody reads.
"""

import contextlib
import os
import select
import termios
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import serial

from firmware_host.clock import Clock, Moment
from firmware_host.ports import Port, PortError, explain
from firmware_host.traffic import LinkClosed, LinkOpened, Quiet, Received, Traffic

# After the first byte the hub waits for others, so that 64 boards at 10 Hz cost about a hundred wake-ups a
# second and not one a line.  A line of 80 bytes takes 7 ms at 115,200 baud, so most lines come whole.
_GATHER_S: Final = 0.008
_RESCAN_S: Final = 2.0
_RETRY_MAX_S: Final = 30.0
# A link that lived shorter than this did not really open.
_FLAP_MS: Final = 5_000
_READ_BYTES: Final = 1 << 16
# A terminal hands out at most so much at once; a shorter read has emptied it.
_FULL_READ_BYTES: Final = 4_095
_READS_AT_ONCE: Final = 16
# Requests are some 50 bytes each; a board that reads none of them must not fill the memory.
_OUTGOING_MAX: Final = 4_096


@dataclass(frozen=True, slots=True)
class PortProblem:
    """A port that is wanted and cannot be used; told once until it changes."""

    at: Moment
    port: str
    error: PortError


@dataclass(slots=True)
class _Link:
    number: int
    port: Port
    serial: serial.Serial
    opened_ms: int
    outgoing: bytearray = field(default_factory=bytearray)


@dataclass(slots=True)
class _Trouble:
    """What went wrong with a device so far."""

    failures: int = 0
    retry_ms: int = 0
    told: str = ""


class SerialHub:
    """All links of this host.  For one thread; only `wake` may be called from another, or from a signal."""

    def __init__(
        self, find_ports: Callable[[], Iterable[Port]], clock: Clock, *, rescan_s: float = _RESCAN_S
    ) -> None:
        """`find_ports` says which ports are wanted at the moment; it is asked every `rescan_s`."""
        self._find_ports = find_ports
        self._clock = clock
        self._rescan_ms = round(rescan_s * 1000)
        self._next_scan_ms: int | None = None
        self._links: dict[int, _Link] = {}  # by file descriptor
        self._fds: dict[int, int] = {}  # by link number
        self._last_number = 0
        self._troubles: dict[str, _Trouble] = {}  # by device
        self._problems: list[PortProblem] = []
        self._waiting: list[Traffic] = []
        self._poll = select.poll()
        self._wake_read, self._wake_write = os.pipe()
        self._wake_lock = threading.RLock()  # reentrant: a signal may come while this thread holds it
        self._closed = False
        os.set_blocking(self._wake_read, False)
        os.set_blocking(self._wake_write, False)
        self._poll.register(self._wake_read, select.POLLIN)

    @property
    def links(self) -> dict[int, Port]:
        """The open links and their ports."""
        return {link.number: link.port for link in self._links.values()}

    def poll(self, timeout_s: float) -> list[Traffic]:
        """Return what happened, as soon as something has or `timeout_s` is over; never nothing at all."""
        now_ms = self._clock.moment().mono_ms
        if self._next_scan_ms is None or now_ms >= self._next_scan_ms:
            self._rescan()
            now_ms = self._clock.moment().mono_ms
            self._next_scan_ms = now_ms + self._rescan_ms
        wait_ms = 0.0 if self._waiting else min(timeout_s * 1000, self._next_scan_ms - now_ms)
        ready = self._poll.poll(max(wait_ms, 0))
        if any(fd != self._wake_read for fd, _ in ready):
            self._clock.wait_s(_GATHER_S)
            ready = self._poll.poll(0)
        at = self._clock.moment()
        for fd, events in ready:
            if fd == self._wake_read:
                self._drain_wakes()
                continue
            link = self._links[fd]
            if events & select.POLLOUT:
                self._flush(link, at)
            if events & ~select.POLLOUT and fd in self._links:
                self._read(link, at, hung_up=bool(events & ~(select.POLLIN | select.POLLOUT)))
        traffic, self._waiting = self._waiting, []
        return traffic or [Quiet(at)]

    def send(self, link: int, data: bytes) -> bool:
        """Send without waiting; return False where the link is gone or takes no more."""
        fd = self._fds.get(link)
        if fd is None:
            return False
        open_link = self._links[fd]
        if len(open_link.outgoing) + len(data) > _OUTGOING_MAX:
            return False
        open_link.outgoing += data
        self._flush(open_link, self._clock.moment())
        return link in self._fds

    def wake(self) -> None:
        """Make a `poll` that waits, or the next one, return at once."""
        with self._wake_lock, contextlib.suppress(BlockingIOError):  # full: it will wake all the same
            if not self._closed:  # the number may be that of another file by now
                os.write(self._wake_write, b"\0")

    def take_problems(self) -> list[PortProblem]:
        """Return the ports that cannot be used, each once until it changes."""
        problems, self._problems = self._problems, []
        return problems

    def close(self) -> list[Traffic]:
        """Close everything; return what is still to be told."""
        at = self._clock.moment()
        for link in list(self._links.values()):
            self._close_link(link, at, "closed")
        with self._wake_lock:
            self._closed = True
            os.close(self._wake_read)
            os.close(self._wake_write)
        traffic, self._waiting = self._waiting, []
        return traffic

    def _rescan(self) -> None:
        wanted = {port.device: port for port in self._find_ports()}
        open_devices = {link.port.device for link in self._links.values()}
        for device in self._troubles.keys() - wanted.keys() - open_devices:
            del self._troubles[device]  # it was unplugged; when it is back it is a new start
        for device, port in wanted.items():
            trouble = self._troubles.get(device)
            if device not in open_devices and (
                trouble is None or self._clock.moment().mono_ms >= trouble.retry_ms
            ):
                self._open(port)

    def _open(self, port: Port) -> None:
        try:
            opened = serial.Serial(port.path, port.baud, timeout=0, write_timeout=0, exclusive=True)
        except (
            OSError,
            ValueError,
        ) as error:  # SerialException is an OSError; ValueError: an absurd baud rate
            self._failed(port, error)
            return
        if Path(port.device).name.startswith("ttyUSB"):
            keep_lines_up(opened.fileno())
        at = self._clock.moment()
        self._last_number += 1
        link = _Link(self._last_number, port, opened, at.mono_ms)
        self._links[opened.fileno()] = link
        self._fds[link.number] = opened.fileno()
        self._poll.register(opened.fileno(), select.POLLIN)
        trouble = self._troubles.get(port.device)
        if trouble is not None:
            trouble.told = ""
        self._waiting.append(LinkOpened(at, link.number, port.path, port.usb))

    def _failed(self, port: Port, error: OSError | ValueError) -> None:
        at = self._clock.moment()
        if isinstance(error, OSError):
            reason = explain(port.path, error)
        else:
            reason = PortError(str(error), where=port.path, remedy="Use a usual baud rate, such as 115200")
        trouble = self._retry_later(port, at)
        if not Path(port.path).exists():
            trouble.retry_ms = at.mono_ms  # a look costs nothing, and it may be plugged in at any time
        if trouble.told != str(reason):
            trouble.told = str(reason)
            self._problems.append(PortProblem(at, port.path, reason))

    def _retry_later(self, port: Port, at: Moment) -> _Trouble:
        trouble = self._troubles.setdefault(port.device, _Trouble())
        trouble.failures += 1
        trouble.retry_ms = at.mono_ms + round(1000 * min(_RETRY_MAX_S, 2.0 ** min(trouble.failures, 5)))
        return trouble

    def _read(self, link: _Link, at: Moment, *, hung_up: bool) -> None:
        """Read what is there; a port that is ready and has nothing is gone."""
        chunks: list[bytes] = []
        gone = ""
        try:
            for _ in range(_READS_AT_ONCE):
                data = os.read(link.serial.fileno(), _READ_BYTES)
                if not data:
                    if hung_up or not chunks:
                        gone = "unplugged"
                    break
                chunks.append(data)
                if len(data) < _FULL_READ_BYTES and not hung_up:
                    break
        except BlockingIOError:
            pass
        except OSError as error:
            gone = f"unplugged ({error.strerror})"
        if chunks:
            self._waiting.append(Received(at, link.number, b"".join(chunks)))
        if gone:
            self._close_link(link, at, gone)

    def _flush(self, link: _Link, at: Moment) -> None:
        try:
            written = os.write(link.serial.fileno(), link.outgoing) if link.outgoing else 0
        except BlockingIOError:
            written = 0
        except OSError as error:
            self._close_link(link, at, f"unplugged ({error.strerror})")
            return
        del link.outgoing[:written]
        wish = select.POLLIN | (select.POLLOUT if link.outgoing else 0)
        self._poll.modify(link.serial.fileno(), wish)

    def _close_link(self, link: _Link, at: Moment, reason: str) -> None:
        fd = link.serial.fileno()
        self._poll.unregister(fd)
        del self._links[fd]
        del self._fds[link.number]
        with contextlib.suppress(OSError, termios.error):
            link.serial.reset_output_buffer()  # else closing may wait half a minute for it to drain
        with contextlib.suppress(OSError):
            link.serial.close()
        if at.mono_ms - link.opened_ms < _FLAP_MS:
            self._retry_later(link.port, at)
        else:
            self._troubles.pop(link.port.device, None)
        self._waiting.append(LinkClosed(at, link.number, reason))

    def _drain_wakes(self) -> None:
        with contextlib.suppress(BlockingIOError):
            while os.read(self._wake_read, 4096):
                pass


def keep_lines_up(fd: int) -> None:
    """Ask the system not to drop DTR when the port closes."""
    with contextlib.suppress(termios.error):
        settings = termios.tcgetattr(fd)
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(fd, termios.TCSANOW, settings)
