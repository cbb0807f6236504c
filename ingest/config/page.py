"""The table of the local page: who may reach it, and where its secrets lie."""

import ipaddress
from typing import Final

from ingest.config.fields import Host, PathFromFile, PortNumber, TextList
from ingest.config.table import Table, key

USUAL_PORT: Final = 8765


class PageConfig(Table):
    """`[page]`: the page that a browser shows."""

    host: Host = key("the address on which the page listens", '"0.0.0.0"', "127.0.0.1")
    port: PortNumber = key("the port on which the page listens", "8080", USUAL_PORT)
    names: TextList = key("other names by which browsers ask for the page", '["room.lan"]', ())
    password_file: PathFromFile | None = key(
        "the file that `baskline password` made", '"page-password"', None
    )
    guest_file: PathFromFile | None = key(
        "the file that `baskline password --guest` made", '"page-guest"', None
    )
    token_file: PathFromFile | None = key(
        "the file that `baskline password --token` made", '"page-token"', None
    )
    certificate_file: PathFromFile | None = key("the certificate of the page", '"page.pem"', None)
    key_file: PathFromFile | None = key("the key of the page's certificate", '"page.key"', None)
    behind_proxy: bool = key("whether a proxy on this computer passes requests on", "true", False)

    @property
    def secure(self) -> bool:
        """Whether browsers reach the page encrypted, as far as this computer decides that."""
        return self.certificate_file is not None


def is_loopback(host: str) -> bool:
    """Return whether only this computer itself reaches that address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
