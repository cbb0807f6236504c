"""What costs much: one thing at a time, and nobody waits in a long queue for it."""

import asyncio
from collections import deque
from collections.abc import AsyncGenerator, Callable, Generator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, ParamSpec, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from baskline.children import Children
from baskline.page.errors import AskedError
from firmware_host.clock import Clock

P = ParamSpec("P")
T = TypeVar("T")

_MOST_WAITING: Final = 6
# A Raspberry Pi draws a picture in some seconds; more than these are not asked for by hands.
MOST_PICTURES: Final = 12
WINDOW_S: Final = 60.0
_MOST_STREAMS: Final = 2


class Workshop:
    """Lets in one piece of work after the other; pictures and papers only so many a minute."""

    def __init__(self, clock: Clock) -> None:
        self.children = Children()
        self._clock = clock
        self._one_at_a_time = asyncio.Lock()
        self._n_waiting = 0
        self._begun_ms: deque[int] = deque(maxlen=MOST_PICTURES)
        self._n_streams = 0

    async def in_turn(self, work: Callable[P, T], *args: P.args, **options: P.kwargs) -> T:
        """Return what `work` returns, done in a thread when it is its turn."""
        if self._n_waiting >= _MOST_WAITING:
            raise AskedError("too much is being drawn already", remedy="Try again in a minute", status=503)
        self._n_waiting += 1
        try:
            async with self._one_at_a_time:
                return await run_in_threadpool(work, *args, **options)
        finally:
            self._n_waiting -= 1

    def count_picture(self) -> None:
        """Count what a child process will render; refuse it if there were too many of late."""
        now_ms = self._clock.moment().mono_ms
        full = len(self._begun_ms) == MOST_PICTURES
        if full and now_ms - self._begun_ms[0] < 1000 * WINDOW_S:
            raise AskedError(
                "so many pictures were asked for that the computer needs a rest",
                remedy="Try again in a minute",
                status=429,
            )
        self._begun_ms.append(now_ms)

    async def stream(self, make: Callable[[], Generator[T, None, None]]) -> AsyncGenerator[T, None]:
        """Yield what a generator yields that is made and walked in one thread of its own.

        Nothing is lost of what it says before its first part: the caller gets it with the first `anext`.
        """
        if self._n_streams >= _MOST_STREAMS:
            raise AskedError(
                "other downloads are under way", remedy="Try again when they are done", status=503
            )
        self._n_streams += 1
        loop = asyncio.get_running_loop()
        thread = ThreadPoolExecutor(1, "download")
        try:
            parts = await loop.run_in_executor(thread, make)
            try:
                while (part := await loop.run_in_executor(thread, next, parts, None)) is not None:
                    yield part
            finally:
                thread.submit(parts.close)
        finally:
            self._n_streams -= 1
            thread.shutdown(wait=False)


def workshop_of(request: Request) -> Workshop:
    """Return the workshop of the application."""
    workshop: Workshop = request.app.state.workshop
    return workshop
