"""Calibration points: what a sensor and a reference meter said side by side, and the dark readings."""

from dataclasses import dataclass, field
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class ReferenceMeter:
    """A hand-held UVI meter, by what is stated of it.  All standard uncertainties (k = 1).

    `u_relative` and `u_zero_uvi` are errors that all its readings share; `resolution_uvi` is the step of
    its last digit.
    """

    u_relative: float = 0.0
    u_zero_uvi: float = 0.0
    resolution_uvi: float = 0.0

    @property
    def u_resolution_uvi(self) -> float:
        """What rounding to the last digit adds to each reading by itself (JCGM 100:2008, F.2.2.1)."""
        return self.resolution_uvi / sqrt(12)


def from_limits(half_width: float) -> float:
    """Return the standard uncertainty of what is only said to lie within ± `half_width` (GUM 4.3.7)."""
    return half_width / sqrt(3)


def from_certificate(expanded: float) -> float:
    """Return the standard uncertainty of an expanded one with k = 2, as calibration certificates state it."""
    return expanded / 2


@dataclass(frozen=True, slots=True)
class Points:
    """Pairs of channel levels and reference readings, and dark levels.

    Shapes, for n pairs, k channels and m dark readings: `levels`, `u_levels` (n, k) in the channels' own
    units; `reference_uvi`, `u_reference_uvi` (n,); `dark`, `u_dark` (m, k); `temperature_c` (n,) or None.
    `u_…` are standard uncertainties of each number by itself, without errors that all readings of the
    meter share; 0 where nothing is known.  `labels` (n,) name the pairs in messages.
    """

    channels: tuple[str, ...]
    levels: FloatArray
    u_levels: FloatArray
    reference_uvi: FloatArray
    u_reference_uvi: FloatArray
    dark: FloatArray
    u_dark: FloatArray
    temperature_channel: str = ""
    temperature_c: FloatArray | None = None
    labels: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        n, k = self.levels.shape
        shapes = (self.u_levels.shape, self.reference_uvi.shape, self.u_reference_uvi.shape)
        if shapes != ((n, k), (n,), (n,)) or k != len(self.channels):
            raise ValueError(f"arrays of unlike shapes: {(n, k), *shapes}")
        if self.dark.shape != self.u_dark.shape or self.dark.shape[1:] != (k,):
            raise ValueError(f"dark readings of shape {self.dark.shape}, wanted (m, {k})")
        if self.temperature_c is not None and self.temperature_c.shape != (n,):
            raise ValueError("one temperature for each pair")
        if not self.labels:
            object.__setattr__(self, "labels", tuple(f"point {i}" for i in range(1, n + 1)))

    def __len__(self) -> int:
        return len(self.reference_uvi)

    def only(self, keep: NDArray[np.bool_]) -> "Points":
        """Return the pairs where `keep` (n,) is true, with all dark readings."""
        return Points(
            self.channels,
            self.levels[keep],
            self.u_levels[keep],
            self.reference_uvi[keep],
            self.u_reference_uvi[keep],
            self.dark,
            self.u_dark,
            self.temperature_channel,
            None if self.temperature_c is None else self.temperature_c[keep],
            tuple(label for label, kept in zip(self.labels, keep, strict=True) if kept),
        )

    def of_channels(self, channels: tuple[str, ...]) -> "Points":
        """Return the same pairs with some of the channels."""
        at = [self.channels.index(channel) for channel in channels]
        return Points(
            channels,
            self.levels[:, at],
            self.u_levels[:, at],
            self.reference_uvi,
            self.u_reference_uvi,
            self.dark[:, at],
            self.u_dark[:, at],
            self.temperature_channel,
            self.temperature_c,
            self.labels,
        )

    def dark_level(self) -> tuple[FloatArray, FloatArray]:
        """Return the mean dark level of each channel (k,) and its standard uncertainty (k,).

        Zero and zero if there was no dark reading.  With two or more, their scatter counts as well: it
        shows drift that the noise of each does not.
        """
        m, k = self.dark.shape
        if m == 0:
            return np.zeros(k), np.zeros(k)
        own = np.sqrt((self.u_dark**2).sum(axis=0)) / m
        scatter = self.dark.std(axis=0, ddof=1) / sqrt(m) if m > 1 else np.zeros(k)
        return self.dark.mean(axis=0), np.maximum(own, scatter)
