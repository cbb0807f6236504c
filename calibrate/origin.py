"""Where a calibration comes from: the readings it was fitted to, and why that shape was taken."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Pair:
    """Levels of the calibration's channels, in its order, and the reference reading beside them (k = 1)."""

    levels: tuple[float, ...]
    uvi: float
    u_uvi: float
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Origin:
    """The pairs and dark readings that were fitted, and how well; `reduced_chi2` None if none is left over.

    It changes no answer, so it is no part of a calibration's identity.
    """

    shape: str
    pairs: tuple[Pair, ...]
    dark: tuple[tuple[float, ...], ...] = ()
    degrees_of_freedom: int = 0
    reduced_chi2: float | None = None
    reasons: tuple[str, ...] = field(default=())
