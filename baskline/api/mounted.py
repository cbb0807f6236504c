"""The interface as the page carries it: made when it is first asked, for most pages never are."""

import asyncio

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

from baskline.page.desk import Desk


class Interface:
    """Hands requests to the interface, whose libraries take 16 MB and half a second of a fast computer."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._app: ASGIApp | None = None
        self._making = asyncio.Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if self._app is None:
            async with self._making:
                if self._app is None:
                    self._app = await run_in_threadpool(self._made)
        await self._app(scope, receive, send)

    def _made(self) -> ASGIApp:
        from baskline.api.app import create_api

        return create_api(self._desk)
