"""What keeps the page from being served."""

from calibrate.errors import KeeperError


class PageError(KeeperError):
    """The page cannot be served as configured."""


class SecretFileError(KeeperError):
    """A password or token file of the page that cannot be used."""
