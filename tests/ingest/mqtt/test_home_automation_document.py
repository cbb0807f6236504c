import json
import re
from pathlib import Path

import pytest

from exposure.attention import Notice, Why
from exposure.events import Event, EventKind, Severity
from ingest.mqtt.discovery import BoardEntry, SpotEntry, discovery_messages
from ingest.mqtt.payloads import Payloads
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics

DOCUMENT = (Path(__file__).parents[3] / "docs" / "home-automation.md").read_text()
[EXAMPLE] = re.findall(r"```yaml\n(.*?)```", DOCUMENT, re.S)

# The invented room of the document.
TOPICS = Topics(MqttSettings(host="broker.lan", site="home", bridge="reptile-room"))
DESCRIPTIONS = [
    json.loads(payload)
    for payload in discovery_messages(
        TOPICS, [SpotEntry("fern", "Fern crown", "Fern house")], [BoardEntry("uv-1", "Left board")], "0.1.0"
    ).values()
]


def test_the_example_names_entities_as_a_hub_names_them():
    # Home Assistant, "Entity naming": the entity's identity is made of the device's name and its own.
    known = {
        re.sub(r"\W+|_", "_", f"{one['device']['name']} {one['name']}".lower().replace("-", "_"))
        for one in DESCRIPTIONS
    }
    named = re.findall(r"\b(?:sensor|binary_sensor|event)\.(\w+)", EXAMPLE)
    assert len(named) >= 4
    assert set(named) <= known


@pytest.mark.parametrize("entity", DESCRIPTIONS, ids=lambda one: one["unique_id"])
def test_every_entity_is_described(entity):
    assert re.search(rf"\b{entity['name']}\b", DOCUMENT)


def test_every_type_of_notice_is_named_and_every_attribute_that_is_named_is_there():
    event = Event("e", EventKind.OVER_CEILING, "spot", "fern", Severity.NOW, 1, "s", "a")
    notice = Notice(Why.NEW, event.kind, urgent=True, title="t", events=(event,))
    said = json.loads(Payloads("home", "reptile-room").notice(notice, "text", 1))
    [types] = re.findall(r"Types of a notice: (.*?)\. Its attributes", DOCUMENT, re.S)
    [attributes] = re.findall(r"Its attributes: (.*?)\.", DOCUMENT, re.S)
    assert re.findall(r"`(\w+)`", types) == [why.value for why in Why]
    assert set(re.findall(r"`(\w+)`", attributes)) <= said.keys()
    assert set(re.findall(r"to_state\.attributes\.(\w+)", EXAMPLE)) <= said.keys()


def test_the_example_only_speaks_and_switches_nothing():
    called = re.findall(r"^\s+- service: (\S+)", EXAMPLE, re.M)
    assert set(called) == {"persistent_notification.create"}
    assert not re.search(r"turn_o|toggle|switch|light\.|climate", EXAMPLE)
