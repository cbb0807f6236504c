"""A hub's side of the conversation: what it makes of our descriptions, states and events on a real broker.

The hub here keeps to what Home Assistant's published documentation says of MQTT discovery
(https://www.home-assistant.io/integrations/mqtt#mqtt-discovery): an entity is there from its retained
description on and until an empty one comes, reads the latest message on its state topic, ignores an event
that the broker had retained, and is unavailable while its availability topic says `offline`.
"""

import json
from dataclasses import dataclass, field, replace
from functools import partial

import jinja2

from calibrate.samples import Flag
from exposure.attention import Notice, Why
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.payloads import Change, SpotState
from ingest.mqtt.topics import Topics
from ingest.telling import BrokerAudience, event_message, notice_message
from tests.ingest.rig import CONFIG, config

ONE_SPOT = config()
TWO_SPOTS = config(
    f"""{CONFIG}
[board.shelf]
identity = "shelf-1"
label = "On the shelf"

[spot.shelf]
label = "Shelf"
enclosure = "garden"
lamp = "tube"
board = "shelf"
zone = 2
"""
)


@dataclass
class Hub:
    """What a hub knows by what it has heard."""

    listener: object
    prefix: str
    entities: dict = field(default_factory=dict)
    said: dict = field(default_factory=dict)
    happened: list = field(default_factory=list)

    def hear(self):
        """Take in everything that has come."""
        while not self.listener.heard.empty():
            self.hear_one()

    def hear_one(self):
        """Take in the next message, once it comes."""
        message = self.listener.next()
        payload = message.payload.decode()
        if not message.topic.startswith(f"{self.prefix}/"):
            self._take(message.topic, payload, retained=message.retain)
        elif message.topic.endswith("/config"):
            self.entities.pop(message.topic, None)
            if payload:
                self.entities[message.topic] = json.loads(payload)

    def _take(self, topic, payload, *, retained):
        self.said[topic] = payload
        for path, entity in self.entities.items():
            if path.split("/")[1] == "event" and entity["state_topic"] == topic and not retained:
                shown = self._render(entity, payload)
                if shown:
                    event_type = json.loads(shown)["event_type"]
                    assert event_type in entity["event_types"]
                    self.happened.append((self._name(entity), event_type))

    def _render(self, entity, payload):
        template = entity.get("value_template", "{{ value }}")
        environment = jinja2.Environment(undefined=jinja2.StrictUndefined)
        values = {"value_json": json.loads(payload)} if payload.startswith("{") else {}
        return environment.from_string(template).render(value=payload, **values)

    @staticmethod
    def _name(entity):
        return f"{entity['device']['name']} {entity['name']}"

    @property
    def states(self):
        """What stands beside the name of each entity that the hub shows by itself."""
        shown = {}
        for path, entity in self.entities.items():
            topic = entity["state_topic"]
            if path.split("/")[1] == "event" or not entity.get("enabled_by_default", True):
                continue
            available = self.said.get(entity.get("availability_topic"), "online") == "online"
            value = self._render(entity, self.said[topic]) if topic in self.said else "unknown"
            value = {"None": "unknown", entity.get("payload_on"): "on", entity.get("payload_off"): "off"}.get(
                value, value
            )
            shown[self._name(entity)] = value if available else "unavailable"
        return shown

    def of(self, device):
        """Return the states of one device."""
        return {name: value for name, value in self.states.items() if name.startswith(device)}


def hub_of(listen, settings):
    prefix = settings.discovery_prefix
    return Hub(listen(settings, f"{prefix}/#", f"{Topics(settings).base}/#"), prefix)


def started(bench, settings, spots):
    one = bench(settings)
    return one, BrokerAudience(settings, spots, one.publisher)


def state(**changes):
    usual = SpotState(
        spot="ledge", at_ms=1, uvi=2.52, u_uvi=0.13, flags=Flag(0), place=Place.IN_BAND, dose_uvi_h=3.0,
        coverage=1.0, zone=3, band_low_uvi=1.0, band_high_uvi=2.6, ceiling_uvi=7.4, day_from_ms=0,
    )  # fmt: skip
    return replace(usual, **changes)


def until(one, hub, condition):
    def heard():
        hub.hear()
        return condition()

    one.until(heard)


def test_a_hub_shows_a_spot_as_it_is(settings, bench, listen):
    one, audience = started(bench, settings, ONE_SPOT)
    audience.spot(state())
    hub = hub_of(listen, settings)
    until(one, hub, lambda: len(hub.of("Ledge")) == 9 and "unknown" not in hub.of("Ledge").values())
    assert hub.of("Ledge") == {
        "Ledge UV index": "2.52",
        "Ledge UV index uncertainty": "0.13",
        "Ledge UV dose today": "3.0",
        "Ledge Place in band": "in band",
        "Ledge Doubts": "none",
        "Ledge Over the ceiling": "off",
        "Ledge Lamp": "off",
        "Ledge Sensor": "off",
        "Ledge Calibration": "off",
    }
    audience.spot(
        state(uvi=8.1, place=Place.OVER_CEILING, flags=Flag.ABOVE_RANGE, open_events=[EventKind.OVER_CEILING])
    )
    until(one, hub, lambda: hub.states["Ledge Over the ceiling"] == "on")
    assert hub.states["Ledge Place in band"] == "over the ceiling"
    assert hub.states["Ledge Doubts"] == "above range"


def test_a_hub_that_comes_later_is_told_all_and_nothing_happens_twice(settings, bench, listen):
    one, audience = started(bench, settings, ONE_SPOT)
    audience.spot(state(uvi=None, u_uvi=None, place=Place.UNKNOWN))
    event = Event("e", EventKind.DOSE_LOW, "spot", "ledge", Severity.NOTE, 1, "s", "a")
    one.outbox.put(event_message(settings, event, Change.OPENED), 1)
    one.until_up()
    one.until_quiet()
    hub = hub_of(listen, settings)
    until(one, hub, lambda: hub.states.get("Ledge Place in band") == "not known")
    assert hub.states["Ledge UV index"] == "unknown"
    assert hub.happened == []


def test_what_opens_and_what_is_to_be_noticed_happens_at_the_hub(settings, bench, listen):
    one, _ = started(bench, settings, ONE_SPOT)
    hub = hub_of(listen, settings)
    one.until_up()
    until(one, hub, lambda: any("Event" in entity["name"] for entity in hub.entities.values()))
    one.until_quiet()
    hub.hear()
    tell = partial(event_message, settings)
    event = Event("e", EventKind.LAMP_FLICKERS, "spot", "ledge", Severity.TODAY, 1, "s", "a")
    one.outbox.put(tell(event, Change.OPENED), 1)
    one.outbox.put(tell(event.closed(2, "over"), Change.CLOSED), 2)
    notify = notice_message(settings, ONE_SPOT)
    for why in Why:
        one.outbox.put(notify(Notice(why, event.kind, urgent=True, title="t", events=(event,)), 3), 3)
    until(one, hub, lambda: len(hub.happened) >= 1 + len(Why))
    assert hub.happened == [
        ("Ledge Event", "lamp_flickers_opened"),
        *(("baskline room Notice", why.value) for why in Why),
    ]


def test_a_spot_that_left_the_configuration_leaves_the_hub(settings, bench, listen):
    former, audience = started(bench, settings, TWO_SPOTS)
    audience.spot(state())
    audience.spot(state(spot="shelf"))
    hub = hub_of(listen, settings)
    until(former, hub, lambda: "Shelf UV index" in hub.states and "Ledge UV index" in hub.states)
    former.until_quiet()
    former.publisher.close()

    one, audience = started(bench, settings, ONE_SPOT)
    audience.spot(state())
    until(one, hub, lambda: not hub.of("Shelf"))
    assert hub.states["Ledge UV index"] == "2.52"


def test_a_bridge_without_power_is_not_running_and_nothing_of_it_available(settings, bench, listen):
    one, audience = started(bench, settings, ONE_SPOT)
    audience.spot(state())
    hub = hub_of(listen, settings)
    until(
        one, hub, lambda: hub.states.get("baskline room Running") == "on" and "Ledge UV index" in hub.states
    )
    one.until_quiet()
    one.cut()
    while hub.said[Topics(settings).availability] != "offline":  # the broker says it: nothing to pump
        hub.hear_one()
    assert hub.states.pop("baskline room Running") == "off"
    assert set(hub.states.values()) == {"off", "unavailable"}
