"""From the host's monotonic axis to UTC, on a machine whose clock may be wrong until a time server answers.

A Raspberry Pi has no clock battery: after a power cut it starts some time in the past and jumps when the
network comes.  The monotonic axis never jumps, so one run has one offset between the two axes, and when a
better one is known every reading of the run is moved by the same step: none is reordered, doubled or lost.
"""

from dataclasses import dataclass

from calibrate.arrays import IntArray
from firmware_host.clock import Moment

STEP_MS = 1000
"""From here on a change is a jump, and the run is re-stamped; below, it is followed as drift.

A disciplined clock slews at most 500 ppm, which is milliseconds between two looks."""

_RESUME_AFTER_MS = 1000  # after the last stored reading, when the wall clock says that it is earlier


@dataclass(frozen=True, slots=True)
class Step:
    """Every reading of this run has to move by `delta_ms`; `sure` if the system vouches for the new time."""

    delta_ms: int
    sure: bool


class HostTimeline:
    """The mapping of one run.  `sure` once the system has vouched for its clock in this run."""

    def __init__(self, start: Moment, *, last_stored_ms: int | None) -> None:
        """Begin at `start`; time does not begin before `last_stored_ms` unless the system vouches for it."""
        self.sure = start.synchronised
        self._start_mono_ms = start.mono_ms
        self._last_mono_ms = start.mono_ms
        self._earliest_ms = None if last_stored_ms is None else last_stored_ms + _RESUME_AFTER_MS
        self._offset_ms = start.wall_ms - start.mono_ms
        if not self.sure and self._starts_too_early(self._offset_ms):
            assert self._earliest_ms is not None
            self._offset_ms = self._earliest_ms - start.mono_ms

    def _starts_too_early(self, offset_ms: int) -> bool:
        return self._earliest_ms is not None and self._start_mono_ms + offset_ms < self._earliest_ms

    def observe(self, now: Moment) -> Step | None:
        """Take note of both clocks; return the step by which this run's readings have to move, if any."""
        elapsed_ms = max(0, now.mono_ms - self._last_mono_ms)
        self._last_mono_ms = now.mono_ms
        wall_offset_ms = now.wall_ms - now.mono_ms
        error_ms = wall_offset_ms - self._offset_ms

        if now.synchronised and not self.sure:
            self.sure = True
            self._offset_ms = wall_offset_ms
            return Step(error_ms, sure=True)
        if not now.synchronised and self._starts_too_early(wall_offset_ms):
            return None
        if abs(error_ms) >= STEP_MS:
            self._offset_ms = wall_offset_ms
            return Step(error_ms, sure=self.sure)
        # Followed at half speed at most, so that time never runs backwards.
        limit_ms = elapsed_ms // 2
        self._offset_ms += max(-limit_ms, min(limit_ms, error_ms))
        return None

    def to_utc_ms(self, host_ms: IntArray) -> IntArray:
        """Return UTC milliseconds for milliseconds on the host's monotonic axis."""
        return host_ms + self._offset_ms

    def now_utc_ms(self, now: Moment) -> int:
        """Return this run's idea of `now`."""
        return now.mono_ms + self._offset_ms
