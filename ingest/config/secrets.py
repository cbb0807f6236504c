"""Secrets that a configuration points at but never holds."""

import os
from pathlib import Path

from calibrate.errors import KeeperError


class SecretError(KeeperError):
    """A password or token that is not where the configuration says."""


def read_secret(*, key: str, file: Path | None, variable: str | None) -> str | None:
    """Return the secret in the first line of `file` or in the environment `variable`, or None without either.

    `key` is the configuration's key (`mqtt.password`), for the message.
    """
    if file is not None:
        return _first_line(key, file)
    if variable is None:
        return None
    if not (secret := os.environ.get(variable)):
        raise SecretError(
            f"the environment variable {variable} is not set",
            where=f"{key}_env",
            remedy="Set it, or use a file",
        )
    return secret


def _first_line(key: str, file: Path) -> str:
    where = f"{key}_file = {file}"
    try:
        secret = file.read_text("utf-8").partition("\n")[0].strip()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise SecretError(
            f"cannot be read: {reason}", where=where, remedy="Put the secret into its first line"
        ) from None
    if not secret:
        raise SecretError("has an empty first line", where=where, remedy="Put the secret into its first line")
    return secret
