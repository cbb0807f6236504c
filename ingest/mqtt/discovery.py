"""Descriptions of our entities for the hub, in Home Assistant's published MQTT discovery schema.

Spots, boards and the bridge are devices there.  State is read from our own retained topics; events come from
the event topic, which is not retained, because that hub ignores a retained event.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass

from exposure.events import EventKind
from ingest.mqtt.payloads import Change, event_type
from ingest.mqtt.topics import Topics

STATE_EXPIRES_S = 180
"""A spot's state must be sent more often than this, or the hub shows it as unavailable: a bridge whose
program hangs still holds its connection, so the last will alone would not tell."""

_EVENT_TYPES = [event_type(kind, change) for kind in EventKind for change in Change]


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
    topics: Topics, spots: Iterable[SpotEntry], boards: Iterable[BoardEntry], version: str
) -> dict[str, str]:
    """Return topic and payload of every description; all are to be retained."""
    writer = _Writer(topics, version)
    writer.bridge()
    for spot in spots:
        writer.spot(spot)
    for board in boards:
        writer.board(board)
    return writer.messages


class _Writer:
    def __init__(self, topics: Topics, version: str) -> None:
        self._topics = topics
        self._origin = {"name": "baskline", "sw_version": version}
        self.messages: dict[str, str] = {}

    def bridge(self) -> None:
        topic = self._topics.open_events
        self._add(
            "sensor",
            "BRIDGE_events",
            {"identifiers": [self._topics.identity], "name": "baskline bridge", "model": "bridge"},
            {
                "name": "Open events",
                "state_topic": topic,
                "value_template": "{{ value_json.count }}",
                "state_class": "measurement",
                "icon": "mdi:bell-outline",
                "json_attributes_topic": topic,
            },
        )

    def spot(self, spot: SpotEntry) -> None:
        topic = self._topics.spot_state(spot.key)
        stem = f"SPOT_{spot.key}"
        device = self._device(stem, f"{spot.enclosure}: {spot.name}", "basking spot")
        fresh: dict[str, object] = {"state_topic": topic, "expire_after": STATE_EXPIRES_S}
        self._add(
            "sensor",
            f"{stem}_uvi",
            device,
            {
                "name": "UV Index",
                "value_template": "{{ value_json.uvi }}",
                "unit_of_measurement": "UVI",
                "state_class": "measurement",
                "icon": "mdi:sun-wireless-outline",
                "json_attributes_topic": topic,
                **fresh,
            },
        )
        self._add(
            "sensor",
            f"{stem}_uncertainty",
            device,
            {
                "name": "UV Index standard uncertainty",
                "value_template": "{{ value_json.u_uvi }}",
                "unit_of_measurement": "UVI",
                "state_class": "measurement",
                "icon": "mdi:plus-minus-variant",
                "entity_category": "diagnostic",
                **fresh,
            },
        )
        self._add(
            "sensor",
            f"{stem}_dose",
            device,
            {
                "name": "UV dose today",
                "value_template": "{{ value_json.dose_uvi_h }}",
                "unit_of_measurement": "UVI·h",
                "state_class": "total_increasing",
                "icon": "mdi:sun-clock-outline",
                **fresh,
            },
        )
        self._add(
            "sensor",
            f"{stem}_place",
            device,
            {
                "name": "Place in band",
                "value_template": "{{ value_json.place }}",
                "icon": "mdi:arrow-expand-vertical",
                **fresh,
            },
        )
        self._add(
            "binary_sensor",
            f"{stem}_problem",
            device,
            {
                "name": "Problem",
                "device_class": "problem",
                "value_template": "{{ 'ON' if value_json.open_events else 'OFF' }}",
                "payload_on": "ON",
                "payload_off": "OFF",
                **fresh,
            },
        )
        self._event(stem, device, "spot", spot.key)

    def board(self, board: BoardEntry) -> None:
        stem = f"BOARD_{board.identity}"
        device = self._device(stem, f"Board {board.name}", "sensor board")
        topic = self._topics.board_state(board.identity)
        self._add(
            "binary_sensor",
            f"{stem}_connection",
            device,
            {
                "name": "Connection",
                "device_class": "connectivity",
                "entity_category": "diagnostic",
                "state_topic": topic,
                "value_template": "{{ 'ON' if value_json.connected else 'OFF' }}",
                "payload_on": "ON",
                "payload_off": "OFF",
                "json_attributes_topic": topic,
            },
        )
        self._event(stem, device, "board", board.identity)

    def _event(self, stem: str, device: dict[str, object], subject_kind: str, subject: str) -> None:
        # One topic carries the events of the whole bridge; what renders to nothing is not this entity's.
        template = (
            f"{{{{ value if value_json.subject_kind == '{subject_kind}' "
            f"and value_json.subject == '{subject}' else '' }}}}"
        )
        self._add(
            "event",
            f"{stem}_event",
            device,
            {
                "name": "Event",
                "state_topic": self._topics.event,
                "event_types": _EVENT_TYPES,
                "value_template": template,
                "qos": 1,
                "icon": "mdi:bell-ring-outline",
            },
        )

    def _device(self, stem: str, name: str, model: str) -> dict[str, object]:
        return {
            "identifiers": [f"{self._topics.identity}_{stem}"],
            "name": name,
            "model": model,
            "via_device": self._topics.identity,
        }

    def _add(self, component: str, entity: str, device: dict[str, object], fields: dict[str, object]) -> None:
        payload = {
            "unique_id": f"{self._topics.identity}_{entity}",
            "availability_topic": self._topics.availability,
            "device": {"manufacturer": "baskline", **device},
            "origin": self._origin,
            **fields,
        }
        self.messages[self._topics.discovery(component, entity)] = json.dumps(payload, ensure_ascii=False)
