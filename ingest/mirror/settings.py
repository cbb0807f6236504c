"""Which server mirrors the store, and under which name."""

from dataclasses import dataclass, field

from calibrate.errors import KeeperError


class MirrorError(KeeperError):
    """The mirror's server cannot be reached, or refuses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorSettings:
    """One server, and this bridge's name on it.  `token` is the secret itself and never shows in `repr`."""

    url: str
    org: str
    bucket: str
    token: str | None = field(repr=False)
    site: str
    bridge: str
