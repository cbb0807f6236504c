"""A host that asks and listens, for tests against the firmware's port."""

from collections.abc import Callable
from typing import TypeVar

import serial

from firmware_host.clock import SystemClock
from firmware_host.messages import BoardTime, Hello, Message, Reading, ReplayEnd
from firmware_host.wire import WireParser

PATIENCE_S = 60.0  # a busy machine may take some of it

Kind = TypeVar("Kind", Hello, Reading, BoardTime, ReplayEnd)


class Host:
    """What the host's own parser makes of a board's port."""

    def __init__(self, port: str) -> None:
        self._port = serial.Serial(port, timeout=0.05)
        self._clock = SystemClock()
        self.parser = WireParser()
        self.heard: list[Message] = []

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def sip(self, n_bytes: int) -> None:
        """Hear no more than so many bytes."""
        self.heard += self.parser.feed(self._port.read(n_bytes))

    def say(self, data: bytes) -> None:
        """Send bytes to the board."""
        self._port.write(data)

    def listen(self, done: Callable[[list[Message]], bool]) -> list[Message]:
        """Return all that was heard as soon as `done` says that it is enough."""
        deadline_ms = self._clock.moment().mono_ms + PATIENCE_S * 1000
        while not done(self.heard):
            # What waits is read before it is judged: this process may itself have been held up until now.
            late = self._clock.moment().mono_ms >= deadline_ms
            self.heard += self.parser.feed(self._port.read(max(1, self._port.in_waiting)))
            assert not late or done(self.heard), f"not heard in time: {self.heard[-5:]}"
        return self.heard

    def hear(self, kind: type[Kind], n: int = 1) -> list[Kind]:
        """Return the messages of one kind once there are `n` of them."""
        self.listen(lambda heard: sum(isinstance(message, kind) for message in heard) >= n)
        return [message for message in self.heard if isinstance(message, kind)]

    def hear_until(self, wanted: Callable[[Reading], bool]) -> list[Reading]:
        """Forget what was heard and return the readings up to the first that is `wanted`."""
        self.heard = []
        self.listen(lambda heard: any(isinstance(message, Reading) and wanted(message) for message in heard))
        return [message for message in self.heard if isinstance(message, Reading)]
