"""The board's end of a pseudo-terminal: whole lines in and out, in place of a board's serial line."""

import contextlib
import os
import select
import tty
from typing import Final

_READ_BYTES: Final = 4_096
# The longest request is 64 bytes (WIRE.md); what is longer is noise.
_LINE_MAX_BYTES: Final = 128


class PtyLink:
    """What the boards' program takes for its serial line.  `stop` may be called from another thread."""

    def __init__(self) -> None:
        self._board_end, self._host_end = os.openpty()
        # The host's end stays open here too, so that a host may come and go without hanging the line up.
        tty.setraw(self._host_end)
        os.set_blocking(self._board_end, False)
        self.path = os.ttyname(self._host_end)
        self._wake_read, self._wake_write = os.pipe()
        self._poll = select.poll()
        self._poll.register(self._board_end, select.POLLIN)
        self._poll.register(self._wake_read, select.POLLIN)
        self._received = b""
        self._unsent = b""
        self.stopped = False

    def write(self, line: bytes) -> None:
        """Send a line; one for which the host leaves no room is lost, and the host will ask for it again."""
        if not self._unsent:
            self._unsent = line
        with contextlib.suppress(BlockingIOError):
            self._unsent = self._unsent[os.write(self._board_end, self._unsent) :]

    def next_line(self, wait_ms: int) -> bytes | None:
        """Return the next whole line, or None when `wait_ms` pass without one."""
        if b"\n" not in self._received and not self.stopped:
            ready = {fd for fd, _ in self._poll.poll(wait_ms)}
            if self._board_end in ready:
                self._received += os.read(self._board_end, _READ_BYTES)
        line, newline, rest = self._received.partition(b"\n")
        if not newline:
            self._received = line[-_LINE_MAX_BYTES:]
            return None
        self._received = rest
        return line

    def wait(self, wait_ms: int) -> None:
        """Wait, but not beyond `stop`; what the host sends meanwhile is nobody's business."""
        poll = select.poll()
        poll.register(self._wake_read, select.POLLIN)
        poll.poll(wait_ms)

    def stop(self) -> None:
        """Have every wait end now."""
        self.stopped = True
        os.write(self._wake_write, b"\0")

    def close(self) -> None:
        """Take the line away."""
        for fd in (self._board_end, self._host_end, self._wake_read, self._wake_write):
            os.close(fd)
