"""What a bad cable does to lines, reproducible by seed."""

import random
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NoiseLevel:
    """How likely each kind of damage is, for each line."""

    drop: float = 0.0  # the line does not come
    flip: float = 0.0  # one bit of it is wrong
    split: float = 0.0  # a line ending stands in its middle
    duplicate: float = 0.0  # it comes twice
    garbage: float = 0.0  # a burst of random bytes comes before it
    burst_bytes: int = 200  # the longest burst


class LineNoise:
    """Damages lines on their way to the host."""

    def __init__(self, level: NoiseLevel, seed: int) -> None:
        self._level = level
        self._random = random.Random(seed)  # noqa: S311 - it imitates noise, it guards nothing

    def damaged(self, line: bytes) -> bytes:
        """Return what arrives of a line."""
        chance, level = self._random.random, self._level
        burst = b""
        if chance() < level.garbage:
            burst = self._random.randbytes(self._random.randint(1, level.burst_bytes))
        if chance() < level.drop:
            return burst
        if chance() < level.flip:
            bit = self._random.randrange(8 * len(line))
            flipped = bytearray(line)
            flipped[bit // 8] ^= 1 << bit % 8
            line = bytes(flipped)
        if chance() < level.split:
            middle = self._random.randrange(len(line))
            line = line[:middle] + b"\n" + line[middle:]
        if chance() < level.duplicate:
            line += line
        return burst + line
