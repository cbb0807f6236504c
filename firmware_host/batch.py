"""Many readings of one board as arrays, the form in which they travel after the parser."""

from dataclasses import dataclass

from calibrate.arrays import FlagArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class ReadingBatch:
    """Readings of one boot of one board with the same channels, in order of sequence number.

    Shapes: `seq`, `board_ms`, `host_ms`, `marks` (n,); `values` (n, len(channels)), NaN where a channel
    was not reported.  `host_ms` is the host's monotonic axis, aligned from the board's own time.  `late`:
    they fill a gap behind readings of the same boot that were handed on before.
    """

    board: str
    boot: str
    channels: tuple[str, ...]
    seq: IntArray
    board_ms: IntArray
    host_ms: IntArray
    values: FloatArray
    marks: FlagArray
    late: bool = False

    def __post_init__(self) -> None:
        n = len(self.seq)
        if not (len(self.board_ms) == len(self.host_ms) == len(self.marks) == n):
            raise ValueError("arrays of different lengths")
        if self.values.shape != (n, len(self.channels)):
            raise ValueError(f"values of shape {self.values.shape}, wanted {(n, len(self.channels))}")

    def __len__(self) -> int:
        return len(self.seq)
