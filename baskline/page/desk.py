"""What every page works with: configuration, clock, and the store, asked in threads of its own."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final, TypeVar

from starlette.concurrency import run_in_threadpool

from baskline.page.errors import PageError
from firmware_host.clock import Clock
from ingest.config import Config
from ingest.present import Present, RoomNow
from ingest.store.store import Store

T = TypeVar("T")

# A daemon commits each two seconds as a rule; who reloads faster sees the same.
FRESH_MS: Final = 900


class Desk:
    """The store behind the page.  `may_change`: whether the keeper's acts may be written."""

    def __init__(self, config: Config, store_file: Path, clock: Clock, *, may_change: bool) -> None:
        self.config = config
        self.store_file = store_file
        self.clock = clock
        self.may_change = may_change
        self._follower = _Follower(config, store_file, clock)

    @property
    def now_ms(self) -> int:
        """The UTC milliseconds since the epoch."""
        return self.clock.moment().wall_ms

    async def read(self, ask: Callable[[Store], T]) -> T:
        """Return what `ask` finds in the store; it runs in a thread, on a connection of its own."""
        return await run_in_threadpool(self._read, ask)

    async def write(self, act: Callable[[Store], T]) -> T:
        """Return what `act` did in the store."""
        if not self.may_change:
            raise PageError("this page is only for looking", remedy="Do it on the page of `baskline run`")
        return await run_in_threadpool(self._write, act)

    async def room(self) -> RoomNow:
        """Return how everything is now."""
        return await self._follower.room()

    def close(self) -> None:
        """Let go of the store."""
        self._follower.close()

    def _read(self, ask: Callable[[Store], T]) -> T:
        with Store.open(self.store_file, read_only=True) as store:
            return ask(store)

    def _write(self, act: Callable[[Store], T]) -> T:
        with Store.open(self.store_file) as store:
            return act(store)


class _Follower:
    """Keeps a `Present` in a thread of its own, and asks it no more often than there is news."""

    def __init__(self, config: Config, store_file: Path, clock: Clock) -> None:
        self._config = config
        self._store_file = store_file
        self._clock = clock
        self._thread = ThreadPoolExecutor(1, "follower")
        self._asking = asyncio.Lock()
        self._room: RoomNow | None = None
        self._store: Store | None = None
        self._present: Present | None = None

    async def room(self) -> RoomNow:
        async with self._asking:  # so that many who look at once cost as much as one
            now_ms = self._clock.moment().wall_ms
            if self._room is None or not 0 <= now_ms - self._room.at_ms < FRESH_MS:
                loop = asyncio.get_running_loop()
                self._room = await loop.run_in_executor(self._thread, self._look, now_ms)
            return self._room

    def close(self) -> None:
        self._thread.submit(self._let_go)
        self._thread.shutdown(wait=True)

    def _look(self, now_ms: int) -> RoomNow:
        try:
            if self._present is None:
                self._store = Store.open(self._store_file, read_only=True)
                self._present = Present(self._store, self._store_file, self._config)
            return self._present.look(now_ms)
        except BaseException:
            self._let_go()  # the next one opens it anew
            raise

    def _let_go(self) -> None:
        self._present = None
        if self._store is not None:
            self._store.close()
            self._store = None
