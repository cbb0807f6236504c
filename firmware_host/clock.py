"""The one way in for time: real time for the daemon, hand-driven time for tests and the demo."""

import ctypes
import time
from dataclasses import dataclass
from typing import Protocol

# adjtimex(2) with no mode set only reads the kernel's clock state; every time daemon (systemd-timesyncd,
# chrony, ntpd) clears TIME_ERROR once it has set the clock.  A hardware clock is no proof: the Raspberry
# Pi 5 has one that forgets without its optional battery.
_TIME_ERROR = 5
_TIMEX_BYTES = 512  # struct timex takes 208 on 64-bit Linux; the kernel writes no more than that
_LIBC = ctypes.CDLL(None)  # once: making the handle takes longer than all the rest of a moment


def _clock_has_been_set() -> bool:
    return bool(_LIBC.adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES)) != _TIME_ERROR)


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant on both of the host's axes.

    `mono_ms`: milliseconds on the monotonic axis, which never jumps; `wall_ms`: UTC milliseconds since
    the epoch as the system clock tells it, which may jump; `synchronised`: whether the system says that
    its clock has been set from outside.
    """

    mono_ms: int
    wall_ms: int
    synchronised: bool


class Clock(Protocol):
    """Where time comes from.  No other module asks the system."""

    def moment(self) -> Moment:
        """Return now."""
        ...

    def wait_s(self, seconds: float) -> None:
        """Return when `seconds` have passed."""
        ...


class SystemClock:
    """The host's own clock."""

    def moment(self) -> Moment:
        """Return now."""
        return Moment(
            mono_ms=time.monotonic_ns() // 1_000_000,
            wall_ms=time.time_ns() // 1_000_000,
            synchronised=_clock_has_been_set(),
        )

    def wait_s(self, seconds: float) -> None:
        """Return when `seconds` have passed."""
        time.sleep(seconds)  # noqa: TID251 - this is the Clock


def mono_us(clock: Clock) -> int:
    """Return microseconds of a clock's monotonic axis; of any but the host's own, in steps of 1000."""
    if isinstance(clock, SystemClock):
        return time.monotonic_ns() // 1_000
    return clock.moment().mono_ms * 1_000


class ManualClock:
    """A clock that moves only when told to, so that a week passes in a second and always the same way."""

    def __init__(self, wall_ms: int, *, mono_ms: int = 0, synchronised: bool = True) -> None:
        self._wall_ms = wall_ms
        self._mono_ms = mono_ms
        self.synchronised = synchronised

    def moment(self) -> Moment:
        """Return now."""
        return Moment(self._mono_ms, self._wall_ms, self.synchronised)

    def wait_s(self, seconds: float) -> None:
        """Pass `seconds` at once."""
        self.advance_ms(round(seconds * 1000))

    def advance_ms(self, step_ms: int) -> None:
        """Move both axes forward."""
        if step_ms < 0:
            raise ValueError("time moves forward; use set_wall_ms for a jump of the wall clock")
        self._mono_ms += step_ms
        self._wall_ms += step_ms

    def set_wall_ms(self, wall_ms: int) -> None:
        """Jump the wall clock alone, as a time server or a person would."""
        self._wall_ms = wall_ms
