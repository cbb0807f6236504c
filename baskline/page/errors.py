"""What keeps the page from being served."""

from calibrate.errors import KeeperError


class PageError(KeeperError):
    """The page cannot be served as configured."""


class SecretFileError(KeeperError):
    """A password or token file of the page that cannot be used."""


class AskedError(KeeperError):
    """Something that was asked for and cannot be meant, or is not there; `status` is HTTP's word for it."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "", status: int = 422) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.status = status
