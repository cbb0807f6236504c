"""Telling the broker: the bridge's audience that publishes states, and the messages for its outbox."""

from collections.abc import Callable, Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from exposure.attention import Notice
from exposure.events import Event
from ingest.attending import NoticeMessage, name_of_subject
from ingest.config import Config
from ingest.mqtt.discovery import BoardEntry, SpotEntry, discovery_messages
from ingest.mqtt.payloads import BoardState, Change, Payloads, SpotState
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics
from ingest.notice_words import notice_text
from ingest.store.outbox import OutgoingMessage

if TYPE_CHECKING:  # who only puts into the outbox needs no connection
    from ingest.mqtt.publisher import Publisher


def event_message(settings: MqttSettings, event: Event, change: Change) -> OutgoingMessage:
    """Return the message that says how an event has changed, for the outbox."""
    return Payloads(settings.site, settings.bridge).event_for_outbox(Topics(settings), event, change)


def notice_message(settings: MqttSettings, config: Config) -> NoticeMessage:
    """Return what makes the message of a notice, for the outbox."""
    payloads, topic = Payloads(settings.site, settings.bridge), Topics(settings).notice
    name_of = name_of_subject(config)

    def message(notice: Notice, at_ms: int) -> OutgoingMessage:
        payload = payloads.notice(notice, notice_text(notice, name_of), at_ms)
        return OutgoingMessage(topic, payload.encode(), qos=1, retain=False)

    return message


class BrokerAudience:
    """Keeps what the broker retains up to date.  Events themselves go through the outbox."""

    def __init__(
        self,
        settings: MqttSettings,
        config: Config,
        publisher: "Publisher",
        *,
        nudge: Callable[[], None] = lambda: None,
    ) -> None:
        """Declare all entities of `config`, so that what an earlier configuration left is removed.

        `nudge` is called when the publisher has something to pump.
        """
        self._nudge = nudge
        self._topics = topics = Topics(settings)
        self._payloads = Payloads(settings.site, settings.bridge)
        self._publisher = publisher
        spots = [
            SpotEntry(key, spot.label, config.enclosures[spot.enclosure].label)
            for key, spot in config.spots.items()
        ]
        boards = [BoardEntry(board.identity, board.label) for board in config.boards.values()]
        discovery = (
            discovery_messages(topics, spots, boards, version("baskline")) if settings.discovery else {}
        )
        state_topics = [
            topics.open_events,
            *(topics.spot_state(spot.key) for spot in spots),
            *(topics.board_state(board.identity) for board in boards),
        ]
        publisher.declare(discovery, state_topics)

    def event(self, event: Event) -> None:  # noqa: ARG002 - its message is in the outbox
        """Have its message sent."""
        self._nudge()

    def open_events(self, events: Sequence[Event], now_ms: int) -> None:
        """Let the broker retain which events are open."""
        self._nudge()
        self._publisher.publish_state(self._topics.open_events, self._payloads.open_events(events, now_ms))

    def spot(self, state: SpotState) -> None:
        """Let the broker retain how a spot is."""
        self._publisher.publish_state(self._topics.spot_state(state.spot), self._payloads.spot_state(state))

    def board(self, state: BoardState) -> None:
        """Let the broker retain how a board is."""
        self._publisher.publish_state(
            self._topics.board_state(state.board), self._payloads.board_state(state)
        )
