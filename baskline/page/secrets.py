"""The page's secrets as its configuration names them."""

from dataclasses import dataclass
from typing import Self

from baskline.page.errors import PageError
from baskline.page.secret_files import PasswordHash, TokenHash, read_password, read_token
from ingest.config.page import PageConfig, is_loopback


@dataclass(frozen=True, slots=True)
class Secrets:
    """What lets somebody in; without a password everybody who reaches the page is its keeper."""

    password: PasswordHash | None = None
    guest: TokenHash | None = None
    token: TokenHash | None = None

    @classmethod
    def read(cls, page: PageConfig) -> Self:
        """Read the files that the configuration names; raise `PageError` where there must be a password."""
        if page.password_file is None and (page.behind_proxy or not is_loopback(page.host)):
            raise PageError(
                f"other computers can reach {page.host}, and there is no password",
                where="[page]",
                remedy='Run `baskline password`, and add to [page]: password_file = "page-password"',
            )
        return cls(
            password=None if page.password_file is None else read_password(page.password_file),
            guest=None
            if page.guest_file is None
            else read_token(page.guest_file, "baskline password --guest"),
            token=None
            if page.token_file is None
            else read_token(page.token_file, "baskline password --token"),
        )
