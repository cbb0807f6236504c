"""How spots and boards are, told again and again; and what somebody has done to events in the meantime."""

from collections.abc import Mapping, Sequence

from exposure.events import Event, EventKind
from exposure.one_event import BY_HAND
from ingest.audience import Audience
from ingest.links import Links
from ingest.live_boards import LiveBoards
from ingest.live_spot import LiveSpot
from ingest.store.store import Store


class States:
    """Tells a bridge's audience how everything is."""

    def __init__(
        self,
        store: Store,
        audience: Sequence[Audience],
        spots: Mapping[str, LiveSpot],
        boards: LiveBoards,
        links: Links,
    ) -> None:
        self._store = store
        self._audience = audience
        self._spots = spots
        self._boards = boards
        self._links = links

    def tell(self, now_ms: int) -> None:
        """Tell it as it is now; everything that was judged must be stored."""
        opened = self._store.events.open()  # asked anew: somebody may have changed one from elsewhere
        self._let_go_of_closed(opened, now_ms)
        kinds: dict[tuple[str, str], list[EventKind]] = {}
        for event in opened:
            kinds.setdefault((event.subject_kind, event.subject), []).append(event.kind)
        connected = self._links.boards()
        for listener in self._audience:
            listener.open_events(opened, now_ms)
            for key, spot in self._spots.items():
                listener.spot(spot.state(now_ms, kinds.get(("spot", key), ())))
            for board in self._boards.configured:
                open_kinds = kinds.get(("board", board), ())
                listener.board(self._boards.state(board, open_kinds, connected=board in connected))

    def _let_go_of_closed(self, opened: Sequence[Event], now_ms: int) -> None:
        """Have the watches take note of what somebody has closed by hand; the store has it already."""
        open_now = {event.identity for event in opened}
        watched: tuple[LiveSpot | LiveBoards, ...] = (*self._spots.values(), self._boards)
        for each in watched:
            for event in each.open_events:
                if event.identity not in open_now:
                    known = self._store.events.get(event.identity)
                    if known is not None and known.closing == BY_HAND:
                        each.close(event.identity, now_ms)
