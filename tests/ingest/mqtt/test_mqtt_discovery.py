"""Our descriptions against the hub's published schema.

Field lists: Home Assistant, "MQTT Sensor", "MQTT Binary Sensor" and "MQTT Event", configuration variables
(https://www.home-assistant.io/integrations/sensor.mqtt, .../binary_sensor.mqtt, .../event.mqtt), checked
against its sources homeassistant/components/mqtt/{sensor,binary_sensor,event,schemas}.py.  Seen whole with
version 2024.3.3 of that hub: every entity appears, a value not known is "unknown", an event reaches its own
spot alone.
"""

import json
import re

import jinja2
import pytest

from calibrate.samples import Flag
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.discovery import STATE_EXPIRES_S, BoardEntry, SpotEntry, discovery_messages
from ingest.mqtt.payloads import BoardState, Change, Payloads, SpotState
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics

COMMON = {
    "availability", "availability_mode", "availability_template", "availability_topic", "device",
    "enabled_by_default", "encoding", "entity_category", "icon", "json_attributes_template",
    "json_attributes_topic", "name", "origin", "payload_available", "payload_not_available", "qos",
    "state_topic", "unique_id", "value_template",
}  # fmt: skip
FIELDS = {
    "sensor": COMMON
    | {"device_class", "expire_after", "force_update", "last_reset_value_template", "state_class",
       "suggested_display_precision", "unit_of_measurement"},
    "binary_sensor": COMMON
    | {"device_class", "expire_after", "force_update", "off_delay", "payload_off", "payload_on"},
    "event": COMMON | {"device_class", "event_types"},
}  # fmt: skip
REQUIRED = {
    "sensor": {"state_topic"},
    "binary_sensor": {"state_topic"},
    "event": {"state_topic", "event_types"},
}
DEVICE = {
    "configuration_url", "connections", "hw_version", "identifiers", "manufacturer", "model", "model_id",
    "name", "serial_number", "suggested_area", "sw_version", "via_device",
}  # fmt: skip
ORIGIN = {"name", "sw_version", "support_url"}
STATE_CLASSES = {"measurement", "total", "total_increasing"}

TOPICS = Topics(MqttSettings(host="broker.lan", site="home", bridge="room"))
PAYLOADS = Payloads("home", "room")
MESSAGES = {
    topic: json.loads(payload)
    for topic, payload in discovery_messages(
        TOPICS, [SpotEntry("ledge", "Ledge", "Big house")], [BoardEntry("uv-1", "left")], "0.1.0"
    ).items()
}
EVENT = Event(
    "i",
    EventKind.OVER_CEILING,
    "spot",
    "ledge",
    Severity.NOW,
    1,
    "It is too bright",
    "Raise it",
    {"uvi": 8.0},
)
SPOT_STATE = {
    "spot": "ledge", "at_ms": 1, "uvi": 2.5, "u_uvi": 0.1, "flags": Flag(0), "place": Place.IN_BAND,
    "dose_uvi_h": 3.0, "coverage": 1.0, "zone": 3, "band_low_uvi": 1.0, "band_high_uvi": 2.6,
    "ceiling_uvi": 7.4,
}  # fmt: skip


def spot_payload(**changes):
    return PAYLOADS.spot_state(SpotState(**(SPOT_STATE | changes)))


def board_payload(connected):
    return PAYLOADS.board_state(
        BoardState(
            board="uv-1", connected=connected, port=None, firmware=None, sensor=None, last_reading_ms=None,
            lost_readings=0,
        )
    )  # fmt: skip


def component(topic):
    return topic.split("/")[1]


def entity(ending):
    (found,) = [config for config in MESSAGES.values() if config["unique_id"].endswith(ending)]
    return found


def render(config, payload):
    """What a hub makes of a message: templates see `value` and `value_json`; a wrong key is an error here."""
    environment = jinja2.Environment(undefined=jinja2.StrictUndefined)
    return environment.from_string(config["value_template"]).render(
        value=payload, value_json=json.loads(payload)
    )


@pytest.mark.parametrize("topic", MESSAGES)
def test_every_description_keeps_to_the_published_fields(topic):
    config = MESSAGES[topic]
    kind = component(topic)
    assert config.keys() <= FIELDS[kind]
    assert config.keys() >= REQUIRED[kind] | {"unique_id", "device", "origin", "availability_topic"}
    assert config["device"].keys() <= DEVICE
    assert config["device"]["identifiers"], "a device without identifiers is refused"
    assert config["origin"].keys() <= ORIGIN
    assert config.get("state_class", "measurement") in STATE_CLASSES
    assert config.get("device_class") in (None, "problem", "connectivity"), "there is no device class for UVI"


@pytest.mark.parametrize("topic", MESSAGES)
def test_the_topic_ends_in_the_entity_that_its_identity_ends_in(topic):
    _, _, node, entity_name, _ = topic.split("/")
    assert MESSAGES[topic]["unique_id"] == f"{node}_{entity_name}"
    assert node == TOPICS.identity


def test_identities_are_unique():
    identities = [config["unique_id"] for config in MESSAGES.values()]
    assert len(set(identities)) == len(identities)


def test_every_entity_reads_a_topic_that_we_write():
    written = {TOPICS.open_events, TOPICS.spot_state("ledge"), TOPICS.board_state("uv-1"), TOPICS.event}
    assert {config["state_topic"] for config in MESSAGES.values()} == written
    assert {
        config["json_attributes_topic"] for config in MESSAGES.values() if "json_attributes_topic" in config
    } <= written


def test_no_template_names_a_key_that_is_missing():
    samples = {
        TOPICS.open_events: PAYLOADS.open_events([EVENT], 1),
        TOPICS.spot_state("ledge"): spot_payload(uvi=None, u_uvi=None, at_ms=None, zone=None),
        TOPICS.board_state("uv-1"): board_payload(connected=False),
        TOPICS.event: PAYLOADS.event(EVENT, Change.OPENED),
    }
    for config in MESSAGES.values():
        keys = re.findall(r"value_json\.(\w+)", config["value_template"])
        assert keys
        assert set(keys) <= json.loads(samples[config["state_topic"]]).keys()
        render(config, samples[config["state_topic"]])


def test_a_value_that_is_not_known_becomes_unknown_at_the_hub():
    # The hub takes the text "None" for unknown (PAYLOAD_NONE in homeassistant/components/mqtt/const.py).
    assert render(entity("_uvi"), spot_payload(uvi=None)) == "None"
    assert render(entity("_uvi"), spot_payload()) == "2.5"


def test_a_problem_is_on_while_an_event_is_open():
    problem = entity("_problem")
    assert render(problem, spot_payload()) == problem["payload_off"]
    assert render(problem, spot_payload(open_events=[EventKind.UNDER_BAND])) == problem["payload_on"]


def test_a_board_is_connected_or_not():
    connection = entity("_connection")
    assert render(connection, board_payload(connected=True)) == connection["payload_on"]
    assert render(connection, board_payload(connected=False)) == connection["payload_off"]


def test_an_event_reaches_its_own_spot_and_no_other_entity():
    payload = PAYLOADS.event(EVENT, Change.OPENED)
    ours, others = entity("SPOT_ledge_event"), entity("BOARD_uv-1_event")
    assert render(ours, payload) == payload
    assert render(others, payload) == ""


def test_every_event_that_we_send_is_of_a_type_that_was_announced():
    announced = entity("SPOT_ledge_event")["event_types"]
    for kind in EventKind:
        for change in Change:
            event = Event("i", kind, "spot", "ledge", Severity.NOTE, 1, "s", "a")
            assert json.loads(PAYLOADS.event(event, change))["event_type"] in announced


def test_a_spots_values_expire_when_the_bridge_hangs():
    state = [config for config in MESSAGES.values() if config["state_topic"] == TOPICS.spot_state("ledge")]
    assert len(state) == 5
    assert {config["expire_after"] for config in state} == {STATE_EXPIRES_S}


def test_spots_and_boards_hang_below_the_bridge():
    (bridge,) = entity("BRIDGE_events")["device"]["identifiers"]
    parents = {config["device"].get("via_device") for config in MESSAGES.values()}
    assert parents == {None, bridge}
