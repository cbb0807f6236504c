"""Who is told what happens, after it is in the store."""

from collections.abc import Sequence
from typing import Protocol

from exposure.events import Event
from ingest.mqtt.payloads import BoardState, SpotState


class Audience(Protocol):
    """Somebody who is told."""

    def event(self, event: Event) -> None:
        """Hear of an event that has changed."""

    def open_events(self, events: Sequence[Event], now_ms: int) -> None:
        """Hear which events are open."""

    def spot(self, state: SpotState) -> None:
        """Hear how a spot is."""

    def board(self, state: BoardState) -> None:
        """Hear how a board is."""
