"""Server-sent events that end in order when the server does."""

from collections.abc import AsyncIterator, Callable
from typing import Final, TypeAlias

import anyio
from sse_starlette.sse import EventSourceResponse

Ending: TypeAlias = anyio.Event

_PING_S: Final = 10
# Less than the server waits for open connections: see `serving.py`.
_GRACE_S: Final = 1.5


def streamed(content: Callable[[Ending], AsyncIterator[dict[str, str]]]) -> EventSourceResponse:
    """Return the answer that sends what `content` yields; it is given what to heed between two events."""
    ending = Ending()
    return EventSourceResponse(
        content(ending),
        ping=_PING_S,
        headers={"Cache-Control": "no-store"},
        shutdown_event=ending,
        shutdown_grace_period=_GRACE_S,
    )


async def pause(ending: Ending, seconds: float) -> bool:
    """Wait so long; return False, and sooner, if the server ends."""
    with anyio.move_on_after(seconds):
        await ending.wait()
    return not ending.is_set()
