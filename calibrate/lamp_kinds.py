"""The kinds of lamp that the trade tells apart, as the keys that configuration and calibration files use.

A calibration holds under the kind of light it was made under, because a hobby sensor does not weigh the
wavelengths as skin does.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from calibrate.errors import KeeperError
from calibrate.nearest import did_you_mean


class UnknownLampKindError(KeeperError):
    """A lamp kind that is not in the list."""


@dataclass(frozen=True, slots=True)
class LampKind:
    """A kind of lamp.  `warm_up_s` is the wait from switch-on until its output holds within about 2 %.

    The warm-up times are common practice, no source: the long end of the usual range.
    """

    key: str
    title: str
    warm_up_s: int


LAMP_KINDS: Mapping[str, LampKind] = MappingProxyType(
    {
        kind.key: kind
        for kind in (
            LampKind("t5", "linear fluorescent, T5", 30 * 60),
            LampKind("t8", "linear fluorescent, T8", 30 * 60),
            LampKind("compact", "compact fluorescent", 30 * 60),
            LampKind("mercury-vapour", "mercury vapour, self-ballasted", 20 * 60),
            LampKind("metal-halide", "metal halide, on a ballast", 20 * 60),
            LampKind("uv-led", "UV light-emitting diodes", 30 * 60),
            LampKind("sun", "the sun", 0),
        )
    }
)


def lamp_kind(key: str, *, where: str = "") -> LampKind:
    """Return the kind named `key`, or raise `UnknownLampKindError` with the nearest valid one."""
    try:
        return LAMP_KINDS[key]
    except KeyError:
        raise UnknownLampKindError(
            f"unknown lamp kind {key!r}", where=where, remedy=did_you_mean(key, LAMP_KINDS)
        ) from None
