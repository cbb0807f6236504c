"""How often somebody may try a password.  Pure but for the Clock."""

import ipaddress
from collections import OrderedDict, deque
from typing import Final

from firmware_host.clock import Clock

WINDOW_S: Final = 600.0
MOST_FROM_ONE: Final = 5
# Many addresses together are a guesser too.  Who is signed in already notices nothing.
MOST_IN_ALL: Final = 30
_ADDRESSES_REMEMBERED: Final = 1_000


class Attempts:
    """Counts failures within a window, for each address and in all."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._of: OrderedDict[str, deque[int]] = OrderedDict()
        self._all: deque[int] = deque()

    def wait_s(self, address: str) -> float:
        """Return for how long that address may not try; 0 if it may now."""
        now_ms = self._clock.moment().mono_ms
        own = self._of.get(_network(address), deque[int]())
        waits = [_wait_ms(own, MOST_FROM_ONE, now_ms), _wait_ms(self._all, MOST_IN_ALL, now_ms)]
        return max(waits) / 1000

    def count(self, address: str) -> None:
        """Count a try.  Done before the password is looked at, so that many at once do not slip through."""
        now_ms = self._clock.moment().mono_ms
        network = _network(address)
        own = self._of.setdefault(network, deque(maxlen=MOST_FROM_ONE))
        self._of.move_to_end(network)
        own.append(now_ms)
        self._all.append(now_ms)
        while len(self._all) > MOST_IN_ALL:
            self._all.popleft()
        while len(self._of) > _ADDRESSES_REMEMBERED:
            self._of.popitem(last=False)

    def forgive(self, address: str) -> None:
        """Forget the tries of an address that knew the password."""
        own = self._of.pop(_network(address), None)
        if own and self._all:
            self._all.pop()


def _wait_ms(tries: deque[int], most: int, now_ms: int) -> float:
    if len(tries) < most:
        return 0.0
    return max(0.0, tries[-most] + 1000 * WINDOW_S - now_ms)


def _network(address: str) -> str:
    """Return whose tries count together: an IPv6 host has a whole /64 of addresses to itself."""
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return address
    if ip.version == 4:
        return address
    if ip.ipv4_mapped is not None:
        return str(ip.ipv4_mapped)
    return str(ipaddress.ip_network((ip, 64), strict=False))
