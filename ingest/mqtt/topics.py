"""The topic tree of one bridge.  Described for people in TOPICS.md, which a test holds to this."""

import re

from ingest.mqtt.settings import BrokerError, MqttSettings

_LEVEL = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")


def _level(what: str, name: str) -> str:
    """Return `name` if it can be one level of a topic and part of an identity."""
    if not _LEVEL.fullmatch(name):
        raise BrokerError(
            f"{what} {name!r} cannot be part of a topic",
            remedy="Use up to 32 of a to z, 0 to 9, '-' and '_', starting with a letter or digit",
        )
    return name


def _levels(key: str, topic: str) -> str:
    """Return `topic` if other levels can follow it."""
    if topic.startswith("$") or set(topic) & set("+#\0") or not all(topic.split("/")):
        raise BrokerError(
            f"{topic!r} cannot start a topic",
            where=f"mqtt.{key}",
            remedy="Use words joined by '/', without '+', '#', a leading '$', or a '/' at either end",
        )
    return topic


class Topics:
    """Every topic that one bridge uses.

    Site, bridge, spots and boards are lower-case, so the upper-case `AT`, `SPOT` and `BOARD` in identities
    cannot occur in a name: two different bridges, spots or boards never share an identity.
    """

    def __init__(self, settings: MqttSettings) -> None:
        """Check the settings' names; raise BrokerError for one that cannot stand in a topic."""
        root = _levels("root_topic", settings.root_topic)
        site = _level("site", settings.site)
        bridge = _level("bridge", settings.bridge)
        self.bridge = bridge
        self.base = f"{root}/{site}/{bridge}"
        self.identity = f"baskline_{bridge}_AT_{site}"
        """Of the bridge: its MQTT client, and its device at the hub."""
        self._discovery_prefix = _levels("discovery_prefix", settings.discovery_prefix)

    @property
    def availability(self) -> str:
        """`online` or `offline`, retained; the broker itself says `offline` when the bridge is gone."""
        return f"{self.base}/availability"

    @property
    def event(self) -> str:
        """Each change of an event, once, not retained."""
        return f"{self.base}/event"

    @property
    def notice(self) -> str:
        """What should reach a person now, once, not retained."""
        return f"{self.base}/notice"

    @property
    def open_events(self) -> str:
        """All open events, retained."""
        return f"{self.base}/events/open"

    @property
    def check(self) -> str:
        """What `baskline check` sends to itself."""
        return f"{self.base}/check"

    def spot_state(self, spot: str) -> str:
        """A spot's latest state, retained."""
        return f"{self.base}/spot/{_level('spot', spot)}/state"

    def board_state(self, board: str) -> str:
        """A board's latest state, retained."""
        return f"{self.base}/board/{_level('board', board)}/state"

    def discovery(self, component: str, entity: str) -> str:
        """Where the hub looks for the description of one of our entities, retained."""
        return f"{self._discovery_prefix}/{component}/{self.identity}/{entity}/config"

    def is_discovery(self, topic: str) -> bool:
        """Return whether `topic` is that of a description."""
        return topic.startswith(f"{self._discovery_prefix}/") and topic.endswith("/config")

    @property
    def hub_status(self) -> str:
        """Where the hub says `online` after it has started."""
        return f"{self._discovery_prefix}/status"

    @property
    def own_retained(self) -> tuple[str, ...]:
        """Filters that match whatever an earlier configuration of this bridge may have left retained."""
        return (
            f"{self.base}/spot/+/state",
            f"{self.base}/board/+/state",
            self.discovery("+", "+"),
        )
