"""Our descriptions against the hub's published schema.

Field lists and rules: Home Assistant, "MQTT Sensor", "MQTT Binary Sensor" and "MQTT Event", configuration
variables (https://www.home-assistant.io/integrations/sensor.mqtt, .../binary_sensor.mqtt, .../event.mqtt),
checked against its sources homeassistant/components/mqtt/{sensor,binary_sensor,event,schemas}.py.
docs/home-automation.md says what was seen with that hub itself.
"""

import json
import re
from dataclasses import replace
from datetime import date

import jinja2
import pytest

from calibrate.samples import Flag
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.discovery import BoardEntry, SpotEntry, discovery_messages
from ingest.mqtt.entities import BOARD_TROUBLES, PLACES, SPOT_KINDS, SPOT_TROUBLES, STATE_EXPIRES_S
from ingest.mqtt.payloads import BoardState, Change, Payloads, SpotState
from ingest.mqtt.publisher import OFFLINE, ONLINE
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
       "options", "suggested_display_precision", "unit_of_measurement"},
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
DEVICE_CLASSES = {
    "sensor": {"date", "enum", "timestamp"},  # of these we use; there is none for UVI
    "binary_sensor": {"connectivity", "problem", "running"},
    "event": set(),
}

TOPICS = Topics(MqttSettings(host="broker.lan", site="home", bridge="room"))
PAYLOADS = Payloads("home", "room")


def described(*spots):
    messages = discovery_messages(TOPICS, spots, [BoardEntry("uv-1", "Left board")], "0.1.0")
    return {topic: json.loads(payload) for topic, payload in messages.items()}


MESSAGES = described(SpotEntry("ledge", "Ledge", "Big house"))
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
    "ceiling_uvi": 7.4, "day_from_ms": 0, "calibration_until": date(2026, 3, 1),
}  # fmt: skip


def spot_payload(**changes):
    return PAYLOADS.spot_state(SpotState(**(SPOT_STATE | changes)))


def board_payload(*, connected, open_events=()):
    return PAYLOADS.board_state(
        BoardState(
            board="uv-1", connected=connected, port=None, firmware=None, sensor=None, last_reading_ms=None,
            lost_readings=0, open_events=open_events,
        )
    )  # fmt: skip


def component(topic):
    return topic.split("/")[1]


def entity(ending):
    (found,) = [config for config in MESSAGES.values() if config["unique_id"].endswith(ending)]
    return found


def render(template, payload):
    """What a hub makes of a message: templates see `value` and `value_json`; a wrong key is an error here."""
    environment = jinja2.Environment(undefined=jinja2.StrictUndefined)
    return environment.from_string(template).render(value=payload, value_json=json.loads(payload))


def value(config, payload):
    return render(config["value_template"], payload)


def attributes(config, payload):
    return json.loads(render(config["json_attributes_template"], payload))


@pytest.mark.parametrize("topic", MESSAGES)
def test_every_description_keeps_to_the_published_fields(topic):
    config = MESSAGES[topic]
    kind = component(topic)
    assert config.keys() <= FIELDS[kind]
    assert config.keys() >= REQUIRED[kind] | {"unique_id", "device", "origin", "name"}
    assert config["device"].keys() <= DEVICE
    assert config["device"]["identifiers"], "a device without identifiers is refused"
    assert config["origin"].keys() <= ORIGIN
    assert config.get("state_class", "measurement") in STATE_CLASSES
    assert config.get("device_class") in {None, *DEVICE_CLASSES[kind]}
    assert config.get("entity_category") in (None, "diagnostic")
    assert config.get("icon", "mdi:").startswith("mdi:")


@pytest.mark.parametrize("topic", MESSAGES)
def test_every_description_keeps_to_the_rules_between_fields(topic):
    # homeassistant/components/mqtt/sensor.py, validate_sensor_state_and_device_class_config: what breaks one
    # of these does not appear at a hub.
    config = MESSAGES[topic]
    if "last_reset_value_template" in config:
        assert config["state_class"] == "total"
    if "options" in config:
        assert config["options"]
        assert config["device_class"] == "enum"
        assert not {"state_class", "unit_of_measurement"} & config.keys()
    assert ("json_attributes_template" in config) == ("json_attributes_topic" in config)


@pytest.mark.parametrize("topic", MESSAGES)
def test_the_topic_ends_in_the_entity_that_its_identity_ends_in(topic):
    _, _, node, entity_name, _ = topic.split("/")
    assert MESSAGES[topic]["unique_id"] == f"{node}_{entity_name}"
    assert node == TOPICS.identity


def test_identities_are_unique():
    identities = [config["unique_id"] for config in MESSAGES.values()]
    assert len(set(identities)) == len(identities)


def test_every_entity_reads_a_topic_that_we_write():
    spot, board = TOPICS.spot_state("ledge"), TOPICS.board_state("uv-1")
    read = {config["state_topic"] for config in MESSAGES.values()}
    assert read == {TOPICS.availability, TOPICS.open_events, TOPICS.notice, TOPICS.event, spot, board}
    attributed = [config for config in MESSAGES.values() if "json_attributes_topic" in config]
    assert {config["json_attributes_topic"] for config in attributed} == {spot, board}
    assert all(config["json_attributes_topic"] == config["state_topic"] for config in attributed)


def test_no_template_names_a_key_that_is_missing():
    nothing_known = spot_payload(
        uvi=None,
        u_uvi=None,
        at_ms=None,
        zone=None,
        dose_uvi_h=None,
        place=Place.UNKNOWN,
        calibration_until=None,
    )
    samples = {
        TOPICS.open_events: PAYLOADS.open_events([EVENT], 1),
        TOPICS.spot_state("ledge"): nothing_known,
        TOPICS.board_state("uv-1"): board_payload(connected=False),
        TOPICS.event: PAYLOADS.event(EVENT, Change.OPENED),
    }
    templates = 0
    for config in MESSAGES.values():
        for template in (text for key, text in config.items() if key.endswith("_template")):
            assert re.search(r"value_json\.\w+", template)
            render(template, samples[config["state_topic"]])
            templates += 1
    assert templates > len(MESSAGES)


def test_a_value_that_is_not_known_becomes_unknown_at_the_hub():
    # The hub takes the text "None" for unknown (PAYLOAD_NONE in homeassistant/components/mqtt/const.py).
    assert value(entity("_uvi"), spot_payload(uvi=None)) == "None"
    assert value(entity("_uvi"), spot_payload()) == "2.5"


def test_the_dose_begins_anew_at_the_keepers_midnight():
    dose = entity("_dose")
    assert value(dose, spot_payload()) == "3.0"
    assert dose["state_class"] == "total"
    assert render(dose["last_reset_value_template"], spot_payload()) == "1970-01-01T00:00:00.000Z"


@pytest.mark.parametrize("place", Place)
def test_a_spots_place_is_one_of_the_announced_words(place):
    assert value(entity("_place"), spot_payload(place=place)) == PLACES[place]
    assert entity("_place")["options"] == list(PLACES.values())
    assert "unknown" not in PLACES.values(), "the hub's own word, which it would not take as an option"


def test_what_is_doubtful_about_a_value_is_said_in_words():
    assert value(entity("_doubts"), spot_payload()) == "none"
    doubtful = spot_payload(flags=Flag.SATURATED | Flag.STALE_CALIBRATION)
    assert value(entity("_doubts"), doubtful) == "saturated, stale calibration"
    assert attributes(entity("_uvi"), doubtful)["flags"] == ["saturated", "stale_calibration"]


def test_an_attribute_of_the_uv_index_is_nothing_that_changes_by_itself():
    assert attributes(entity("_uvi"), spot_payload()) == {
        "u_uvi": 0.1, "flags": [], "zone": 3, "band_low_uvi": 1.0, "band_high_uvi": 2.6, "ceiling_uvi": 7.4,
        "open_events": [],
    }  # fmt: skip


@pytest.mark.parametrize("kind", EventKind)
def test_every_kind_of_event_shows_as_a_state_or_as_something_that_happened(kind):
    trouble = [each for each in (*SPOT_TROUBLES, *BOARD_TROUBLES) if kind in each.kinds]
    if kind in (EventKind.BACK_IN_BAND, EventKind.DOSE_LOW, EventKind.DOSE_HIGH):
        assert not trouble, "nothing that one could still do something about"
    else:
        assert len(trouble) == 1
    assert (kind in SPOT_KINDS) == (not kind.startswith("board_"))


@pytest.mark.parametrize("trouble", SPOT_TROUBLES, ids=lambda trouble: trouble.entity)
def test_a_spots_trouble_is_on_while_an_event_of_its_kinds_is_open(trouble):
    config = entity(f"SPOT_ledge_{trouble.entity}")
    assert config["device_class"] == "problem"
    for kind in SPOT_KINDS:
        payload = spot_payload(open_events=[EventKind.BACK_IN_BAND, kind])
        on = kind in trouble.kinds
        assert value(config, payload) == config["payload_on" if on else "payload_off"]
        assert attributes(config, payload) == {"open_events": [kind] if on else []}
    assert value(config, spot_payload()) == config["payload_off"]


@pytest.mark.parametrize("trouble", BOARD_TROUBLES, ids=lambda trouble: trouble.entity)
def test_a_boards_trouble_is_on_while_an_event_of_its_kinds_is_open(trouble):
    config = entity(f"BOARD_uv-1_{trouble.entity}")
    for kind in (kind for kind in EventKind if kind not in SPOT_KINDS):
        expected = config["payload_on" if kind in trouble.kinds else "payload_off"]
        assert value(config, board_payload(connected=True, open_events=[kind])) == expected


def test_a_board_is_connected_or_not():
    connection = entity("_connection")
    assert value(connection, board_payload(connected=True)) == connection["payload_on"]
    assert value(connection, board_payload(connected=False)) == connection["payload_off"]


def test_a_firmware_that_nobody_has_told_is_not_known():
    assert value(entity("_firmware"), board_payload(connected=True)) == "not known"


def test_what_opens_at_a_spot_happens_to_that_spot_alone():
    both = described(SpotEntry("ledge", "Ledge", "Big house"), SpotEntry("shelf", "Shelf", "Big house"))
    events = {
        config["unique_id"]: config for config in both.values() if config["unique_id"].endswith("_event")
    }
    ours, other = (
        events[f"{TOPICS.identity}_SPOT_ledge_event"],
        events[f"{TOPICS.identity}_SPOT_shelf_event"],
    )
    opened = PAYLOADS.event(EVENT, Change.OPENED)
    assert value(ours, opened) == opened
    assert value(other, opened) == ""
    assert value(ours, PAYLOADS.event(EVENT, Change.CLOSED)) == ""
    assert value(ours, PAYLOADS.event(replace(EVENT, subject_kind="board"), Change.OPENED)) == ""


def test_every_event_that_reaches_a_spot_is_of_a_type_that_was_announced():
    config = entity("SPOT_ledge_event")
    for kind in SPOT_KINDS:
        event = Event("i", kind, "spot", "ledge", Severity.NOTE, 1, "s", "a")
        payload = value(config, PAYLOADS.event(event, Change.OPENED))
        assert json.loads(payload)["event_type"] in config["event_types"]


def test_values_expire_when_the_bridge_hangs():
    once = {TOPICS.event, TOPICS.notice, TOPICS.availability}
    for config in MESSAGES.values():
        assert config.get("expire_after") == (None if config["state_topic"] in once else STATE_EXPIRES_S)


def test_everything_but_running_becomes_unavailable_with_the_bridge():
    for config in MESSAGES.values():
        if config is entity("BRIDGE_running"):
            assert (config["payload_on"], config["payload_off"]) == (ONLINE, OFFLINE)
            assert "availability_topic" not in config
        else:
            assert config["availability_topic"] == TOPICS.availability


def test_spots_and_boards_hang_below_the_bridge():
    (bridge,) = entity("BRIDGE_events")["device"]["identifiers"]
    parents = {config["device"].get("via_device") for config in MESSAGES.values()}
    assert parents == {None, bridge}


def test_a_spot_is_named_as_its_keeper_names_it_and_lies_in_its_enclosure():
    device = entity("_uvi")["device"]
    assert (device["name"], device["suggested_area"]) == ("Ledge", "Big house")
    assert "Ledge" not in entity("_uvi")["name"], "the hub itself puts the device's name before it"


def test_spots_of_one_name_are_told_apart_by_their_enclosures():
    both = described(SpotEntry("a", "Basking spot", "North"), SpotEntry("b", "Basking spot", "South"))
    names = {config["device"]["name"] for config in both.values() if "suggested_area" in config["device"]}
    assert names == {"Basking spot, North", "Basking spot, South"}


def test_a_spot_shows_few_things_by_itself():
    ours = [config for config in MESSAGES.values() if "_SPOT_ledge_" in config["unique_id"]]
    shown = [config for config in ours if config.get("enabled_by_default", True)]
    daily = [config["name"] for config in shown if "entity_category" not in config]
    assert daily == [
        "UV index", "UV dose today", "Place in band", "Over the ceiling", "Lamp", "Sensor", "Event",
    ]  # fmt: skip
    assert len(shown) <= 10
    assert len(ours) <= 15
