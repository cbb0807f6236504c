"""Descriptions of our entities for the hub, in Home Assistant's published MQTT discovery schema.

Spots, boards and the bridge are devices there.  State is read from our own retained topics; events come from
the event topic, which is not retained, because that hub ignores a retained event.  A hub puts the device's
name before the entity's, so "Fern crown" has a "UV index".
"""

import json
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from exposure.attention import Why
from ingest.mqtt.entities import (
    BOARD_ENTITIES,
    BOARD_TROUBLES,
    DIAGNOSTIC,
    SPOT_KINDS,
    SPOT_SENSORS,
    SPOT_TROUBLES,
    Fields,
    read_from,
    trouble_fields,
)
from ingest.mqtt.payloads import Change, event_type
from ingest.mqtt.topics import Topics


@dataclass(frozen=True, slots=True)
class SpotEntry:
    """A spot as the hub shall show it: its key, and names for people."""

    key: str
    name: str
    enclosure: str


@dataclass(frozen=True, slots=True)
class BoardEntry:
    """A board as the hub shall show it: the identity that it reports, and a name for people."""

    identity: str
    name: str


def discovery_messages(
    topics: Topics, spots: Collection[SpotEntry], boards: Iterable[BoardEntry], version: str
) -> dict[str, str]:
    """Return topic and payload of every description; all are to be retained."""
    writer = _Writer(topics, version)
    writer.bridge()
    named = Counter(spot.name for spot in spots)
    for spot in spots:
        writer.spot(spot, spot.name if named[spot.name] == 1 else f"{spot.name}, {spot.enclosure}")
    for board in boards:
        writer.board(board)
    return writer.messages


class _Writer:
    def __init__(self, topics: Topics, version: str) -> None:
        self._topics = topics
        self._version = version
        self.messages: dict[str, str] = {}

    def bridge(self) -> None:
        device = {
            "identifiers": [self._topics.identity],
            "name": f"baskline {self._topics.bridge}",
            "model": "bridge",
            "sw_version": self._version,
        }
        # It alone must not become unavailable with the bridge: it says that the bridge is gone.
        self._add(
            "binary_sensor",
            "BRIDGE_running",
            device,
            {
                "name": "Running",
                "device_class": "running",
                "state_topic": self._topics.availability,
                "payload_on": "online",
                "payload_off": "offline",
                **DIAGNOSTIC,
            },
            available=False,
        )
        self._add(
            "sensor",
            "BRIDGE_events",
            device,
            read_from(
                self._topics.open_events,
                {
                    "name": "Open events",
                    "value_template": "{{ value_json.count }}",
                    "state_class": "measurement",
                    "icon": "mdi:bell-outline",
                },
            ),
        )
        self._add(
            "event",
            "BRIDGE_notice",
            device,
            {
                "name": "Notice",
                "state_topic": self._topics.notice,
                "event_types": [why.value for why in Why],
                "qos": 1,
                "icon": "mdi:bullhorn-outline",
            },
        )

    def spot(self, spot: SpotEntry, name: str) -> None:
        stem = f"SPOT_{spot.key}"
        device = {**self._device(stem, name, "spot"), "suggested_area": spot.enclosure}
        topic = self._topics.spot_state(spot.key)

        def add(component: str, entity: str, fields: Fields) -> None:
            self._add(component, f"{stem}_{entity}", device, read_from(topic, fields))

        for entity, fields in SPOT_SENSORS.items():
            add("sensor", entity, fields)
        for trouble in SPOT_TROUBLES:
            add("binary_sensor", trouble.entity, trouble_fields(trouble))
        self._spot_event(stem, device, spot.key)

    def board(self, board: BoardEntry) -> None:
        stem = f"BOARD_{board.identity}"
        device = self._device(stem, board.name, "sensor board")
        topic = self._topics.board_state(board.identity)
        for entity, (component, fields) in BOARD_ENTITIES.items():
            self._add(component, f"{stem}_{entity}", device, read_from(topic, {**fields, **DIAGNOSTIC}))
        for trouble in BOARD_TROUBLES:
            fields = read_from(topic, trouble_fields(trouble))
            self._add("binary_sensor", f"{stem}_{trouble.entity}", device, fields)

    def _spot_event(self, stem: str, device: Fields, spot: str) -> None:
        # One topic carries the events of the whole bridge; what renders to nothing is not this entity's.
        template = (
            "{{ value if value_json.subject_kind == 'spot' "
            f"and value_json.subject == '{spot}' and value_json.change == '{Change.OPENED}' else '' }}}}"
        )
        self._add(
            "event",
            f"{stem}_event",
            device,
            {
                "name": "Event",
                "state_topic": self._topics.event,
                "event_types": [event_type(kind, Change.OPENED) for kind in SPOT_KINDS],
                "value_template": template,
                "qos": 1,
                "icon": "mdi:bell-ring-outline",
            },
        )

    def _device(self, stem: str, name: str, model: str) -> Fields:
        return {
            "identifiers": [f"{self._topics.identity}_{stem}"],
            "name": name,
            "model": model,
            "via_device": self._topics.identity,
        }

    def _add(
        self,
        component: str,
        entity: str,
        device: Fields,
        fields: Fields,
        *,
        available: bool = True,
    ) -> None:
        payload = {
            "unique_id": f"{self._topics.identity}_{entity}",
            **({"availability_topic": self._topics.availability} if available else {}),
            "device": {"manufacturer": "baskline", **device},
            "origin": {"name": "baskline", "sw_version": self._version},
            **fields,
        }
        self.messages[self._topics.discovery(component, entity)] = json.dumps(payload, ensure_ascii=False)
