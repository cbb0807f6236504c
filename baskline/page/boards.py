"""Boards: whether each speaks, where it is plugged in, what it lost, and which spots it watches."""

from dataclasses import dataclass
from itertools import pairwise
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from baskline.measured_words import times
from baskline.page.desk import Desk
from baskline.page.pages import NavEntry, Page
from baskline.page.rendering import render
from baskline.page.spot_view import ago_words, moment_words
from baskline.sensor_words import sensor_trouble
from exposure.wording import duration_text
from ingest.present import BoardNow, RoomNow
from ingest.store.store import Store


@dataclass(frozen=True, slots=True)
class BoardPart:
    """A board as it is shown; `spots` are (key, label)."""

    identity: str
    label: str
    silent: bool
    state: str
    trouble: str
    facts: tuple[tuple[str, str], ...]
    spots: tuple[tuple[str, str], ...]


async def boards(request: Request) -> Response:
    """Show all boards."""
    desk: Desk = request.app.state.desk
    room = await desk.room()
    parts = await desk.read(lambda store: [_part(store, desk, room, board) for board in room.boards])
    return render(request, "boards.html", boards=parts, watched=room.watched)


def _part(store: Store, desk: Desk, room: RoomNow, board: BoardNow) -> BoardPart:
    zone = ZoneInfo(desk.config.bridge.time_zone)
    state = "Connected and speaking"
    if board.last_reading_ms is None:
        state = "No reading yet"
    elif not room.watched:
        state = "Not watched now"
    elif board.silent:
        state = f"Silent since {moment_words(board.last_reading_ms, room.at_ms, zone)}"
    hello = board.hello
    return BoardPart(
        identity=board.board,
        label=board.label,
        silent=board.silent or board.last_reading_ms is None,
        state=state,
        trouble="" if hello is None else sensor_trouble(hello.sensor) or "",
        facts=tuple(_facts(store, room, board, zone)),
        spots=tuple((spot, desk.config.spots[spot].label) for spot in board.spots),
    )


def _facts(store: Store, room: RoomNow, board: BoardNow, zone: ZoneInfo) -> list[tuple[str, str]]:
    facts = [("name", board.board)]
    if board.last_reading_ms is not None:
        at, ago = (
            moment_words(board.last_reading_ms, room.at_ms, zone),
            ago_words(board.last_reading_ms, room.at_ms),
        )
        facts.append(("last reading", f"{at}, {ago}"))
    facts.append(("port", board.port or "not known"))
    hello = board.hello
    if hello is None:
        return [*facts, ("firmware", "it has not introduced itself: a sketch of your own, or not heard yet")]
    facts += [
        ("firmware", hello.firmware),
        ("sensor", hello.sensor),
        ("channels", ", ".join(hello.channels)),
        ("speaks", f"each {hello.cadence_ms / 1000:g} s"),
        ("remembers", f"{duration_text(hello.ring * hello.cadence_ms / 1000)} while its cable is out"),
    ]
    seen = store.readings.seen(board.board, hello.boot)
    if seen:
        n_missing = sum(after[0] - before[1] - 1 for before, after in pairwise(seen))
        facts.append(("lost", f"{n_missing} {'reading' if n_missing == 1 else 'readings'} since it started"))
    n_starts = store.boards.n_starts(board.board)
    record = store.boards.get(board.board)
    if n_starts and record is not None and record.first_seen_ms is not None:
        since = moment_words(record.first_seen_ms, room.at_ms, zone)
        facts.append(("known since", f"{since}; has started {times(n_starts)} since"))
    return facts


PAGE = Page(routes=(Route("/boards", boards, methods=["GET"]),), nav=NavEntry("Boards", "/boards"))
