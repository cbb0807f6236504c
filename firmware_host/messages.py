"""What boards say, as values.  No port, no clock."""

from dataclasses import dataclass
from enum import IntFlag
from typing import NamedTuple, TypeAlias


class Mark(IntFlag):
    """What a board says of its own reading."""

    SATURATED = 1  # a channel was at the top of its range
    RANGED = 2  # gain or integration time changed during this reading
    FAULT = 4  # the sensor did not answer, or answered nonsense


class Reading(NamedTuple):
    """What a board reported at one moment.

    `channels` and `values` run in parallel; `board_ms` counts from the board's start and never wraps;
    `boot` differs at each start of the board, so (board, boot, seq) names a reading for ever.
    """

    board: str
    boot: str
    seq: int
    board_ms: int
    channels: tuple[str, ...]
    values: tuple[float, ...]
    marks: int  # bits of Mark
    replayed: bool


@dataclass(frozen=True, slots=True)
class Hello:
    """A board introducing itself.  `units` runs in parallel to `channels`."""

    board: str
    boot: str
    firmware: str
    sensor: str
    channels: tuple[str, ...]
    units: tuple[str, ...]
    cadence_ms: int
    ring: int  # how many past readings the board can replay; 0 if none


@dataclass(frozen=True, slots=True)
class BoardTime:
    """A board's answer to a request for its time; `token` echoes the request's."""

    board: str
    boot: str
    token: int
    board_ms: int


@dataclass(frozen=True, slots=True)
class ReplayEnd:
    """A board has replayed what it still had of the range asked for, `first_seq` to `last_seq` inclusive.

    Anything of the range outside what came is gone.  Nothing left at all: `last_seq` = `first_seq` - 1.
    """

    board: str
    boot: str
    first_seq: int
    last_seq: int


@dataclass(frozen=True, slots=True)
class Garbage:
    """Bytes that made no sense.  `excerpt` is printable and short, safe to log."""

    n_bytes: int
    reason: str
    excerpt: str


Message: TypeAlias = Reading | Hello | BoardTime | ReplayEnd | Garbage
