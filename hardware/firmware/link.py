"""The serial line to the host: whole lines in and out; neither silence nor noise holds the board up."""

import select
import sys

import wire

# So much is read at one go, so that a flood from the host cannot keep the board from its sensor.
BYTES_AT_ONCE = 256

_CTRL_C = 3
_LINE_END = 10
_RETURN = 13


class Link:
    """Reads from standard input and writes to standard output, on a board the USB port or the UART."""

    def __init__(self):
        self._in = sys.stdin.buffer  # the raw bytes: the text stream would change line ends
        self._out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._byte = bytearray(1)
        self._line = bytearray(wire.MAX_REQUEST_BYTES)
        self._length = 0
        self._too_long = False
        self._before = _LINE_END  # the byte before
        self.stopped = False  # someone pressed Ctrl-C at the start of a line, or the input has ended

    def write(self, line):
        """Send a line."""
        self._out.write(line)

    def next_line(self, wait_ms):
        """The next whole line as bytes, or None when `wait_ms` pass without one."""
        for _ in range(BYTES_AT_ONCE):
            if not self._ready(wait_ms):
                return None
            wait_ms = 0
            if not self._in.readinto(self._byte):
                self.stopped = True  # the end of the input; happens only under an operating system
                return None
            line = self._take(self._byte[0])
            if line is not None or self.stopped:
                return line
        return None

    def _ready(self, wait_ms):
        for _ in self._poll.ipoll(wait_ms):
            return True
        return False

    def _take(self, byte):
        before, self._before = self._before, byte
        if byte == _LINE_END:
            line = None if self._too_long else bytes(self._line[: self._length])
            self._length = 0
            self._too_long = False
            return line
        if byte == _CTRL_C and before in (_LINE_END, _RETURN):
            self.stopped = True
        elif self._length == len(self._line):
            self._too_long = True
        else:
            self._line[self._length] = byte
            self._length += 1
        return None
