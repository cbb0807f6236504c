"""How long to wait before trying a server again.  Pure: no clock."""

import zlib

_LONGEST_S = 60.0  # a broker that comes back is found within a minute


class Backoff:
    """Waits that double from `shortest_s` to a minute, spread so that many bridges do not come at once."""

    def __init__(self, identity: str, shortest_s: float = 1.0) -> None:
        self._shortest_s = shortest_s
        self._failures = 0
        self._spread = 0.75 + 0.5 * (zlib.crc32(identity.encode()) % 1024) / 1024

    def failed(self) -> float:
        """Count a failure and return how many seconds to wait after it."""
        wait_s = min(self._shortest_s * 2.0 ** min(self._failures, 16), _LONGEST_S)
        self._failures += 1
        return wait_s * self._spread

    def succeeded(self) -> None:
        """Start over from the shortest wait."""
        self._failures = 0
