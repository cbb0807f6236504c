"""Serving the page: from configuration to a listening server."""

import signal
import socket
from pathlib import Path
from typing import Final

import uvicorn

from baskline.page.app import create_app
from baskline.page.desk import Desk
from baskline.page.errors import PageError
from baskline.page.gate import Gate
from baskline.page.secrets import Secrets
from baskline.page.workshop import Workshop
from firmware_host.clock import Clock
from ingest.config import Config
from ingest.config.page import PageConfig

# For those who still look when the page ends: a live connection would wait for ever.
_GRACE_S: Final = 2
_MOST_CONNECTIONS: Final = 100


def page_of(config: Config) -> PageConfig:
    """Return the page's configuration; without a table it is for this computer alone."""
    return config.page if config.page is not None else PageConfig()


def server(config: Config, store_file: Path, clock: Clock, *, may_change: bool) -> uvicorn.Server:
    """Return the server, ready for `run(sockets=[listening(page)])`."""
    page = page_of(config)
    gate = Gate(page, Secrets.read(page), clock)
    desk = Desk(config, store_file, clock, may_change=may_change)
    app = create_app(desk, gate)
    configured = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,  # addresses hold the guests' token
        server_header=False,
        proxy_headers=page.behind_proxy,
        forwarded_allow_ips="127.0.0.1,::1",
        ssl_certfile=page.certificate_file,
        ssl_keyfile=page.key_file,
        timeout_graceful_shutdown=_GRACE_S,
        limit_concurrency=_MOST_CONNECTIONS,
        lifespan="on",
        ws="none",
    )
    try:
        configured.load()
    except OSError as error:  # the SSL library's own errors are such too
        raise PageError(
            f"the certificate or its key cannot be used: {error.strerror or error}",
            where=f"[page], {page.certificate_file}",
            remedy="Give both as PEM files that this user may read and that belong together",
        ) from error
    return _Server(configured, app.state.workshop)


class _Server(uvicorn.Server):
    def __init__(self, configured: uvicorn.Config, workshop: Workshop) -> None:
        super().__init__(configured)
        self._workshop = workshop

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._workshop.children.end()  # who waits for one is answered at once
        await super().shutdown(sockets)


def serve(served: uvicorn.Server, socket_: socket.socket) -> None:
    """Serve until told to stop by SIGTERM or Ctrl-C, which is an end like any other."""

    def end(_number: int, _frame: object) -> None:
        served.should_exit = True

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)  # until the server has put its own in front of these, and again after it
    served.run(sockets=[socket_])


def listening(page: PageConfig) -> socket.socket:
    """Return a socket that listens where the page is to be, or say why it cannot."""
    found: socket.socket | None = None
    try:
        info = socket.getaddrinfo(page.host, page.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, protocol, _, address = info[0]
        found = socket.socket(family, kind, protocol)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind(address)
        found.listen(128)
    except OSError as error:
        if found is not None:
            found.close()
        raise PageError(
            f"cannot listen on {page.host}, port {page.port}: {error.strerror}",
            where="[page]",
            remedy="A port under 1024 needs rights of its own: give it a higher one"
            if isinstance(error, PermissionError)
            else "Give it another host or port, or stop what is there already",
        ) from error
    return found
