"""The page's secrets at rest: a password as a scrypt hash, random tokens as SHA-256.

A password that a person chose can be guessed, so each guess must cost memory and time.  A token of 256 random
bits cannot, and is asked for with every request.
"""

import hashlib
import hmac
import os
import secrets
from base64 import b64decode, b64encode
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from baskline.page.errors import SecretFileError
from calibrate.whole_file import write_whole

LEAST_CHARACTERS: Final = 10
# 32 MB and about a tenth of a second on this trade's small computers: RFC 7914 leaves the choice to the use.
_N, _R, _P = 2**15, 8, 1
_MEMORY: Final = 64 * 2**20
_TOKEN_BYTES: Final = 32
_SCRYPT, _SHA256 = "scrypt", "sha256"


@dataclass(frozen=True, slots=True)
class PasswordHash:
    """A password that can be compared with and not read back."""

    n: int
    r: int
    p: int
    salt: bytes
    digest: bytes

    @classmethod
    def of(cls, password: str) -> "PasswordHash":
        """Hash a password with a salt of its own."""
        salt = os.urandom(16)
        return cls(_N, _R, _P, salt, _scrypt(password, _N, _R, _P, salt))

    def matches(self, password: str) -> bool:
        """Return whether it is that password, in a time that does not tell how nearly."""
        return hmac.compare_digest(self.digest, _scrypt(password, self.n, self.r, self.p, self.salt))

    def line(self) -> str:
        """Return it as it stands in its file."""
        numbers = f"{self.n} {self.r} {self.p}"
        return f"{_SCRYPT} {numbers} {b64encode(self.salt).decode()} {b64encode(self.digest).decode()}"


@dataclass(frozen=True, slots=True)
class TokenHash:
    """A random token that can be compared with and not read back."""

    digest: bytes

    @classmethod
    def of(cls, token: str) -> "TokenHash":
        """Hash a token."""
        return cls(hashlib.sha256(token.encode()).digest())

    def matches(self, token: str) -> bool:
        """Return whether it is that token, in a time that does not tell how nearly."""
        return hmac.compare_digest(self.digest, hashlib.sha256(token.encode()).digest())

    def line(self) -> str:
        """Return it as it stands in its file."""
        return f"{_SHA256} {b64encode(self.digest).decode()}"


def new_token() -> str:
    """Return a random token that can stand in an address."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def write_secret(path: Path, kept: PasswordHash | TokenHash) -> None:
    """Write a hash into a file that only this user may read, in one step."""
    try:
        write_whole(path, f"{kept.line()}\n".encode(), 0o600)
    except OSError as error:
        raise SecretFileError(
            f"cannot be written: {error.strerror}",
            where=str(path),
            remedy="Name a file in a folder that this user may write in",
        ) from error


def read_password(path: Path) -> PasswordHash:
    """Return the password in a file that `write_secret` made."""
    words = _words(path, "baskline password", _SCRYPT, 6)
    try:
        n, r, p = map(int, words[1:4])
        kept = PasswordHash(n, r, p, b64decode(words[4], validate=True), b64decode(words[5], validate=True))
        kept.matches("")  # so that numbers which no scrypt takes are found at start, not at a login
    except ValueError as error:
        raise _spoilt(path, "baskline password") from error
    return kept


def read_token(path: Path, command: str) -> TokenHash:
    """Return the token in a file that `write_secret` made; `command` would make it anew."""
    words = _words(path, command, _SHA256, 2)
    try:
        digest = b64decode(words[1], validate=True)
    except ValueError as error:
        raise _spoilt(path, command) from error
    if len(digest) != hashlib.sha256().digest_size:
        raise _spoilt(path, command)
    return TokenHash(digest)


def _scrypt(password: str, n: int, r: int, p: int, salt: bytes) -> bytes:
    return hashlib.scrypt(password.encode(), salt=salt, n=n, r=r, p=p, maxmem=_MEMORY, dklen=32)


def _words(path: Path, command: str, kind: str, n_words: int) -> list[str]:
    try:
        mode = path.stat().st_mode
        words = path.read_text("ascii").split()
    except FileNotFoundError as error:
        raise SecretFileError(
            "there is no such file", where=str(path), remedy=f"Make it with: {command}"
        ) from error
    except OSError as error:
        raise SecretFileError(
            f"cannot be read: {error.strerror}", where=str(path), remedy="Give it to the daemon's user"
        ) from error
    except UnicodeDecodeError as error:
        raise _spoilt(path, command) from error
    if mode & 0o077:
        raise SecretFileError(
            "may be read by other users", where=str(path), remedy=f"Say: chmod 600 {path.name}"
        )
    if len(words) != n_words or words[0] != kind:
        raise _spoilt(path, command)
    return words


def _spoilt(path: Path, command: str) -> SecretFileError:
    return SecretFileError(
        "holds no hash that baskline wrote", where=str(path), remedy=f"Make it anew with: {command}"
    )
