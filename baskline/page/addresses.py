"""What to type into a browser."""

import ipaddress
import socket

from ingest.config.page import PageConfig


def address_of(page: PageConfig) -> str:
    """Return what to type into a browser on this computer or, where others are let in, on another."""
    scheme = "https" if page.secure else "http"
    host = page.host
    try:
        ip = ipaddress.ip_address(host)
    except ValueError:
        pass
    else:
        if ip.is_unspecified:
            host = f"{socket.gethostname().partition('.')[0]}.local"
        elif ip.version == 6:
            host = f"[{host}]"
    return f"{scheme}://{host}:{page.port}/"
