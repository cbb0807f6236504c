"""A board that is only a program: it measures, numbers, remembers and answers as firmware does.

No port and no clock: bytes and the time come in, bytes go out.
"""

import random
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

from firmware_host.messages import BoardTime, Hello, Mark, Reading, ReplayEnd
from firmware_host.simulated.noise import LineNoise
from firmware_host.wire import (
    HelloRequest,
    ReplayRequest,
    TimeRequest,
    encode_end,
    encode_hello,
    encode_reading,
    encode_time,
    parse_request,
)

_MAX_REQUEST_BYTES: Final = 512
_MAX_REPLAYS: Final = 8  # more than these at once are not kept
_DECIMALS: Final = 6  # of the values on the wire

ChannelsAt: TypeAlias = Callable[[float], Mapping[str, float]]
"""What the board's channels show at a time, in milliseconds on the axis that the board is driven with."""

MarksAt: TypeAlias = Callable[[float], Mark]
"""What the board says of its reading at such a time."""


@dataclass(frozen=True, slots=True)
class BoardModel:
    """What a board is.  `units` holds the unit of each channel."""

    board: str
    units: Mapping[str, str]
    cadence_ms: int = 1_000
    ring: int = 3_600
    sensor: str = "simulated"
    firmware: str = "simulated-1"
    pace_ppm: float = 0.0  # by how much its clock is slow
    replay_lines_per_s: int = 150  # about what 115,200 baud carry


class SimulatedBoard:
    """One board.  It measures while it has power, whether anybody listens or not."""

    def __init__(
        self,
        model: BoardModel,
        channels_at: ChannelsAt,
        *,
        seed: int,
        marks_at: MarksAt = lambda _: Mark(0),
        noise: LineNoise | None = None,
    ) -> None:
        """The same `seed` and the same times give the same bytes."""
        self.model = model
        self._channels_at = channels_at
        self._marks_at = marks_at
        self._noise = noise
        self._random = random.Random(f"{seed} {model.board}")  # noqa: S311 - a play, and reproducible
        self._powered = False
        self.boot = ""
        self._started_ms = 0
        self._next_seq = 0
        self._ring: deque[Reading] = deque(maxlen=model.ring)
        self._incoming = b""
        self._outgoing: list[bytes] = []
        self._replays: deque[tuple[int, int, int]] = deque()  # first, next, last
        self._replayed_to_ms = 0.0

    @property
    def powered(self) -> bool:
        """Whether it runs."""
        return self._powered

    @property
    def next_seq(self) -> int:
        """The number of its next reading."""
        return self._next_seq

    def start(self, now_ms: int) -> None:
        """Give it power: it boots at `now_ms`, with a new boot number and an empty memory."""
        self._powered = True
        self.boot = f"{self._random.getrandbits(32):08x}"
        self._started_ms = now_ms
        self._next_seq = 0
        self._ring.clear()
        self._incoming = b""
        self._outgoing.clear()
        self._replays.clear()
        self._replayed_to_ms = now_ms
        self._say_hello()

    def stop(self) -> None:
        """Take its power away."""
        self._powered = False

    def receive(self, data: bytes, now_ms: int) -> None:
        """Take in bytes from the host."""
        self._measure_until(now_ms)
        *lines, self._incoming = (self._incoming + data).split(b"\n")
        self._incoming = self._incoming[-_MAX_REQUEST_BYTES:]
        for line in lines:
            self._answer(line, now_ms)

    def run(self, now_ms: int) -> bytes:
        """Do everything that is due by `now_ms`; return what goes out on the line."""
        if not self._powered:
            return b""
        self._measure_until(now_ms)
        self._replay(now_ms)
        lines, self._outgoing = self._outgoing, []
        if self._noise is not None:
            lines = [self._noise.damaged(line) for line in lines]
        return b"".join(lines)

    def _measure_until(self, now_ms: int) -> None:
        while (due_ms := self._due_ms(self._next_seq)) <= now_ms:
            self._measure(due_ms)

    def _due_ms(self, seq: int) -> float:
        """Return when a reading is due; the first comes one cadence after the start."""
        return self._started_ms + (seq + 1) * self.model.cadence_ms * (1 + self.model.pace_ppm * 1e-6)

    def _board_ms(self, now_ms: float) -> int:
        return int((now_ms - self._started_ms) / (1 + self.model.pace_ppm * 1e-6))

    def _measure(self, at_ms: float) -> None:
        values = self._channels_at(at_ms)
        reading = Reading(
            self.model.board,
            self.boot,
            self._next_seq,
            (self._next_seq + 1) * self.model.cadence_ms,
            tuple(values),
            tuple(round(float(value), _DECIMALS) for value in values.values()),
            int(self._marks_at(at_ms)),
            replayed=False,
        )
        self._next_seq += 1
        self._ring.append(reading)
        self._outgoing.append(encode_reading(reading))

    def _answer(self, line: bytes, now_ms: int) -> None:
        match parse_request(line):
            case HelloRequest():
                self._say_hello()
            case TimeRequest(token=token):
                answer = BoardTime(self.model.board, self.boot, token, self._board_ms(now_ms))
                self._outgoing.append(encode_time(answer))
            case ReplayRequest(boot=boot, first_seq=first, last_seq=last):
                oldest = self._next_seq - len(self._ring)
                first_kept, last_kept = max(first, oldest), min(last, self._next_seq - 1)
                if boot != self.boot or last_kept < first_kept:
                    self._outgoing.append(encode_end(ReplayEnd(self.model.board, boot, first, first - 1)))
                elif len(self._replays) < _MAX_REPLAYS:
                    self._replays.append((first_kept, first_kept, last_kept))

    def _replay(self, now_ms: int) -> None:
        """Send as much of the replays as the line carries since the last time."""
        budget = int((now_ms - self._replayed_to_ms) * self.model.replay_lines_per_s / 1000)
        if not self._replays:
            self._replayed_to_ms = now_ms
        elif budget > 0:
            self._replayed_to_ms += budget * 1000 / self.model.replay_lines_per_s
        while self._replays and budget > 0:
            first, seq, last = self._replays.popleft()
            oldest = self._next_seq - len(self._ring)
            seq = max(seq, oldest)
            stop = min(last + 1, seq + budget)
            for index in range(seq, stop):
                self._outgoing.append(encode_reading(self._ring[index - oldest]._replace(replayed=True)))
            budget -= max(0, stop - seq)
            if stop > last:
                self._outgoing.append(encode_end(ReplayEnd(self.model.board, self.boot, first, last)))
            else:
                self._replays.appendleft((first, stop, last))

    def _say_hello(self) -> None:
        model = self.model
        hello = Hello(
            model.board,
            self.boot,
            model.firmware,
            model.sensor,
            tuple(model.units),
            tuple(model.units.values()),
            model.cadence_ms,
            model.ring,
        )
        self._outgoing.append(encode_hello(hello))
