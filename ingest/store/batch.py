"""Readings stamped with UTC, as the store keeps and returns them."""

from dataclasses import dataclass

from calibrate.arrays import FlagArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class StampedBatch:
    """Readings of one boot of one board with the same channels, in order of sequence number.

    Shapes: `seq`, `utc_ms`, `marks` (n,); `values` (n, len(channels)), NaN where a channel was not
    reported.  `marks` holds bits of `firmware_host.messages.Mark`, and `CLOCK_UNSURE_MARK` where the
    host's clock had not been set when the reading was stamped.
    """

    board: str
    boot: str
    channels: tuple[str, ...]
    seq: IntArray
    utc_ms: IntArray
    values: FloatArray
    marks: FlagArray

    def __post_init__(self) -> None:
        n = len(self.seq)
        if not (len(self.utc_ms) == len(self.marks) == n):
            raise ValueError("arrays of different lengths")
        if self.values.shape != (n, len(self.channels)):
            raise ValueError(f"values of shape {self.values.shape}, wanted {(n, len(self.channels))}")

    def __len__(self) -> int:
        return len(self.seq)


CLOCK_UNSURE_MARK = 1 << 16
"""Above the board's own marks: set by the host."""
