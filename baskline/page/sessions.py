"""Who is signed in: random sessions kept in memory, and the word that proves a form to be the page's own."""

import hashlib
import hmac
import os
import secrets
from collections import OrderedDict
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from firmware_host.clock import Clock

# A phone that is used daily stays signed in; one that was lost is out after a week.
IDLE_S: Final = 7 * 86_400.0
LONGEST_S: Final = 60 * 86_400.0
_MOST: Final = 500


class Access(StrEnum):
    """What somebody may do."""

    NOBODY = "nobody"
    GUEST = "guest"  # may look
    KEEPER = "keeper"  # may look at everything and change what the page can change


@dataclass(slots=True)
class _Session:
    access: Access
    began_ms: int
    used_ms: int


class Sessions:
    """Sessions by a random identity, of which only a hash is kept; all end when the page's process ends."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._secret = os.urandom(32)
        self._sessions: OrderedDict[bytes, _Session] = OrderedDict()

    def begin(self, access: Access) -> str:
        """Return the identity of a new session."""
        identity = self.new_identity()
        now_ms = self._clock.moment().mono_ms
        self._sessions[_hash(identity)] = _Session(access, now_ms, now_ms)
        while len(self._sessions) > _MOST:
            self._sessions.popitem(last=False)
        return identity

    def end(self, identity: str) -> None:
        """Sign out."""
        self._sessions.pop(_hash(identity), None)

    def access(self, identity: str) -> Access:
        """Return what the holder of that identity may do, and count it as used."""
        key = _hash(identity)
        session = self._sessions.get(key)
        if session is None:
            return Access.NOBODY
        now_ms = self._clock.moment().mono_ms
        if now_ms - session.used_ms > 1000 * IDLE_S or now_ms - session.began_ms > 1000 * LONGEST_S:
            del self._sessions[key]
            return Access.NOBODY
        session.used_ms = now_ms
        self._sessions.move_to_end(key)
        return session.access

    @staticmethod
    def new_identity() -> str:
        """Return a random identity; unless it began a session, it lets nobody in."""
        return secrets.token_urlsafe(32)

    def form_word(self, identity: str) -> str:
        """Return what each form shown to the holder of that identity carries."""
        return hmac.new(self._secret, identity.encode(), hashlib.sha256).hexdigest()

    def is_form_word(self, identity: str, word: str) -> bool:
        """Return whether a form carries the right word."""
        return hmac.compare_digest(self.form_word(identity).encode(), word.encode())


def _hash(identity: str) -> bytes:
    return hashlib.sha256(identity.encode()).digest()
