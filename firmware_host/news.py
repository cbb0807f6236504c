"""What a link's boards have to say, in order: the output of a session."""

from dataclasses import dataclass
from typing import TypeAlias

from firmware_host.batch import ReadingBatch
from firmware_host.board_clock import ClockJump
from firmware_host.messages import Garbage, Hello


@dataclass(frozen=True, slots=True)
class BoardIdentified:
    """A board was heard on this link for the first time since it opened."""

    board: str
    boot: str


@dataclass(frozen=True, slots=True)
class Rebooted:
    """A board started again while its link stayed open; `boot` is the new one."""

    board: str
    old_boot: str
    boot: str


@dataclass(frozen=True, slots=True)
class Lost:
    """Readings `first_seq` to `last_seq` inclusive did not come, and the board does not repeat them.

    Should one come after all, it is delivered late.
    """

    board: str
    boot: str
    first_seq: int
    last_seq: int


@dataclass(frozen=True, slots=True)
class ClockAnomaly:
    """A board's milliseconds jumped within one boot; readings around the jump may carry a wrong time."""

    board: str
    boot: str
    jump: ClockJump


@dataclass(frozen=True, slots=True)
class BootReused:
    """A board started again under its old boot number.

    Its new readings carry sequence numbers that were used before, so they cannot be told from the old ones
    and are dropped until the numbers are new again.  Its program must draw a new boot number at each start.
    """

    board: str
    boot: str


News: TypeAlias = (
    ReadingBatch | Hello | Garbage | BoardIdentified | Rebooted | Lost | ClockAnomaly | BootReused
)
