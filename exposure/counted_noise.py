"""Noise drawn by counting: a number for each index, the same for ever and in any order."""

import zlib

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FloatArray, IntArray

# SplitMix64: Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators", OOPSLA.
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)


def splitmix64(seed: int, index: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Return the outputs at `index` (from 0) of the generator started with `seed`."""
    with np.errstate(over="ignore"):  # arithmetic modulo 2^64 is the point
        z = np.uint64(seed) + (index + np.uint64(1)) * _GOLDEN
        z = (z ^ (z >> np.uint64(30))) * _MIX_1
        z = (z ^ (z >> np.uint64(27))) * _MIX_2
    return z ^ (z >> np.uint64(31))


def normal_at(seed: int, stream: str, index: IntArray) -> FloatArray:
    """Return one standard normal number for each `index` of a named stream, the same for ever.

    Two uniform numbers give one normal one (Box & Muller 1958).
    """
    key = (seed ^ (zlib.crc32(stream.encode()) << 32)) % 2**64
    start = int(splitmix64(key, np.zeros(1, np.uint64))[0])
    pairs = index.astype(np.uint64) * np.uint64(2)
    first, second = (
        (splitmix64(start, pairs + np.uint64(k)) >> np.uint64(11)).astype(np.float64) for k in (0, 1)
    )
    radius = np.sqrt(-2 * np.log((first + 0.5) / 2**53))
    return np.asarray(radius * np.cos(2 * np.pi * second / 2**53))


def wander_at(seed: int, stream: str, t_ms: IntArray, period_ms: int) -> FloatArray:
    """Return noise that changes slowly: independent normal numbers each `period_ms`, smoothly joined."""
    step, within_ms = np.divmod(t_ms, period_ms)
    share = 0.5 - 0.5 * np.cos(np.pi * within_ms / period_ms)
    here, there = normal_at(seed, stream, step), normal_at(seed, stream, step + 1)
    return np.asarray(here * (1 - share) + there * share)
