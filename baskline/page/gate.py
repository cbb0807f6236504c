"""Who may come in: the page's secrets, the names it answers to, its sessions."""

import asyncio
import ipaddress
import re
import socket
from collections.abc import Collection, Mapping
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from baskline.page.attempts import Attempts
from baskline.page.secrets import Secrets
from baskline.page.sessions import LONGEST_S, Access, Sessions
from firmware_host.clock import Clock
from ingest.config.page import PageConfig, is_loopback

# Nothing may stand behind the port: some libraries make an address of the whole header.
_HOST: Final = re.compile(r"(?:\[(?P<address>[0-9a-f:.]+)\]|(?P<name>[^][:/?#@\\\s]+))(?::[0-9]*)?", re.ASCII)


class Gate:
    """Decides who a request is from and whether it may be answered."""

    def __init__(self, page: PageConfig, secrets: Secrets, clock: Clock) -> None:
        self.sessions = Sessions(clock)
        self.attempts = Attempts(clock)
        self.has_password = secrets.password is not None
        self._secrets = secrets
        self._hosts = _own_names(page)
        self._any_address = not is_loopback(page.host)
        self._secure = page.secure
        self._port = page.port
        self._hashing = asyncio.Lock()

    def answers_to(self, host: str) -> bool:
        """Return whether a Host header names this page.

        A name of somebody else's that leads here is how a foreign page borrows the keeper's browser.  Nobody
        but the network itself can make an address lead here.
        """
        name = _without_port(host)
        if name in self._hosts:
            return True
        if not self._any_address:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    async def is_password(self, password: str) -> bool:
        """Return whether it is the keeper's password; one guess at a time, since each takes 32 MB."""
        kept = self._secrets.password
        if kept is None:
            return False
        async with self._hashing:
            return await run_in_threadpool(kept.matches, password)

    def is_guest_token(self, token: str) -> bool:
        """Return whether it is the guests' token."""
        return self._secrets.guest is not None and self._secrets.guest.matches(token)

    def is_program_token(self, token: str) -> bool:
        """Return whether it is the token of programs."""
        return self._secrets.token is not None and self._secrets.token.matches(token)

    def access(self, identity: str) -> Access:
        """Return what the holder of a session may do."""
        return self.sessions.access(identity) if self.has_password else Access.KEEPER

    def cookie_name(self, *, secure: bool) -> str:
        """Return the cookie's name: two bridges on one computer differ only by their ports."""
        return f"{'__Host-' if secure else ''}baskline-{self._port}"

    def is_secure(self, scheme: str) -> bool:
        """Return whether the browser's end of the connection is encrypted."""
        return self._secure or scheme == "https"

    def identity_of(self, cookies: Mapping[str, str], *, secure: bool) -> str:
        """Return the session's identity that a request carries, or ''."""
        return cookies.get(self.cookie_name(secure=secure), "")

    def give_identity(self, response: Response, identity: str, *, secure: bool) -> None:
        """Have the browser keep a session's identity."""
        response.set_cookie(
            self.cookie_name(secure=secure),
            identity,
            max_age=int(LONGEST_S),
            path="/",
            secure=secure,
            httponly=True,
            samesite="strict",
        )


def _own_names(page: PageConfig) -> Collection[str]:
    names = {"localhost", "127.0.0.1", "::1", page.host, *page.names}
    if not is_loopback(page.host):
        own = socket.gethostname()
        names |= {own, f"{own.partition('.')[0]}.local"}
    return {name.casefold() for name in names}


def _without_port(host: str) -> str:
    """Return the name or address in a Host header; '' for a header that is none."""
    found = _HOST.fullmatch(host.strip().casefold())
    return "" if found is None else (found["address"] or found["name"]).removesuffix(".")
