"""The entities that spots and boards have at a home automation hub, as far as they are the same for all.

Each kind of event shows as it deserves.  What lasts is gathered into a few states of a device, so that a spot
does not have twenty; which kind it is stands in the state's attributes, and everything that opens at a spot
also happens to its event entity.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

from exposure.events import EventKind
from exposure.place import Place

Fields: TypeAlias = Mapping[str, object]
"""Part of a description, under the hub's names."""

STATE_EXPIRES_S = 180
"""States must be sent more often than this, or the hub shows them as unavailable: a bridge whose program
hangs still holds its connection, so the last will alone would not tell."""

DIAGNOSTIC: Final[Fields] = {"entity_category": "diagnostic"}
_NOT_SHOWN: Final[Fields] = {"enabled_by_default": False}


@dataclass(frozen=True, slots=True)
class Trouble:
    """A state of a spot or board that is on while an event of one of `kinds` is open.

    `entity` is part of its identity at the hub, `name` is read by people behind the device's name.  One that
    is not `shown` is there, but the hub leaves it switched off until somebody wants it.
    """

    entity: str
    name: str
    icon: str
    kinds: tuple[EventKind, ...]
    shown: bool = True
    diagnostic: bool = False


SPOT_TROUBLES: Final = (
    Trouble("over_ceiling", "Over the ceiling", "mdi:alert-octagon-outline", (EventKind.OVER_CEILING,)),
    Trouble("above_band", "Above the band", "mdi:arrow-collapse-up", (EventKind.ABOVE_BAND,), shown=False),
    Trouble("under_band", "Under the band", "mdi:arrow-collapse-down", (EventKind.UNDER_BAND,), shown=False),
    Trouble(
        "lamp",
        "Lamp",
        "mdi:heat-wave",
        (
            EventKind.LAMP_OFF_BY_DAY,
            EventKind.LAMP_ON_AT_NIGHT,
            EventKind.LAMP_FLICKERS,
            EventKind.LAMP_WARMS_UP_SLOWLY,
            EventKind.LAMP_RISING,
            EventKind.LAMP_FADING,
            EventKind.LEVEL_STEPPED,
        ),
    ),
    Trouble(
        "sensor",
        "Sensor",
        "mdi:help-rhombus-outline",
        (
            EventKind.SENSOR_STUCK,
            EventKind.SENSOR_SATURATED,
            EventKind.SENSOR_TEMPERATURE,
            EventKind.SENSOR_NEGATIVE,
            EventKind.SENSOR_WITHOUT_VALUE,
        ),
    ),
    Trouble(
        "calibration",
        "Calibration",
        "mdi:tune-vertical",
        (
            EventKind.CALIBRATION_MISSING,
            EventKind.CALIBRATION_OTHER_LAMP,
            EventKind.CALIBRATION_DUE,
            EventKind.CALIBRATION_ENDED,
            EventKind.CHECK_OVERDUE,
            EventKind.CHECK_OUT,
        ),
        diagnostic=True,
    ),
)

BOARD_TROUBLES: Final = (
    Trouble("silent", "Silent", "mdi:message-off-outline", (EventKind.BOARD_SILENT,)),
    Trouble(
        "restless",
        "Restarts and clock",
        "mdi:restart-alert",
        (EventKind.BOARD_RESTARTING, EventKind.BOARD_CLOCK_WRONG),
        diagnostic=True,
    ),
)

_OF_BOARDS = frozenset(kind for trouble in BOARD_TROUBLES for kind in trouble.kinds)
SPOT_KINDS: Final = tuple(kind for kind in EventKind if kind not in _OF_BOARDS)
"""The kinds that happen at a spot, in the order of `EventKind`."""


def read_from(topic: str, fields: Fields) -> Fields:
    """Return the description of an entity that reads its state and its attributes from `topic`."""
    attributes = {"json_attributes_topic": topic} if "json_attributes_template" in fields else {}
    return {**fields, "state_topic": topic, "expire_after": STATE_EXPIRES_S, **attributes}


def trouble_fields(trouble: Trouble) -> Fields:
    """Return the description of a state that is on while an event of some kinds is open."""
    kinds = ", ".join(f"'{kind}'" for kind in trouble.kinds)
    open_ones = f"value_json.open_events | select('in', [{kinds}]) | list"
    return {
        "name": trouble.name,
        "device_class": "problem",
        "icon": trouble.icon,
        **_on_if(open_ones),
        "json_attributes_template": "{{ {" + f"'open_events': {open_ones}" + "} | tojson }}",
        **(DIAGNOSTIC if trouble.diagnostic else {}),
        **({} if trouble.shown else _NOT_SHOWN),
    }


def _on_if(condition: str) -> Fields:
    return {
        "value_template": "{{ 'ON' if " + condition + " else 'OFF' }}",
        "payload_on": "ON",
        "payload_off": "OFF",
    }


def _table(words: Iterable[tuple[str, str]]) -> str:
    """Return a table as a template writes it."""
    return "{" + ", ".join(f"'{key}': {value}" for key, value in words) + "}"


# Older hubs show a text that is null as "None", and newer ones refuse a word that is not among the options.
PLACES: Final = {
    Place.IN_BAND: "in band",
    Place.UNDER_BAND: "under the band",
    Place.ABOVE_BAND: "above the band",
    Place.OVER_CEILING: "over the ceiling",
    Place.DARK: "dark",
    Place.UNKNOWN: "not known",
}
"""A spot's place in its band, in words."""

# Not the whole state: an attribute that changes every ten seconds fills the hub's records.
_ABOUT_UVI = ("u_uvi", "flags", "zone", "band_low_uvi", "band_high_uvi", "ceiling_uvi", "open_events")

SPOT_SENSORS: Final[Mapping[str, Fields]] = {
    "uvi": {
        "name": "UV index",
        "value_template": "{{ value_json.uvi }}",
        "unit_of_measurement": "UVI",
        "state_class": "measurement",
        "suggested_display_precision": 1,
        "icon": "mdi:sun-wireless-outline",
        "json_attributes_template": (
            "{{ " + _table((key, f"value_json.{key}") for key in _ABOUT_UVI) + " | tojson }}"
        ),
    },
    "uncertainty": {
        "name": "UV index uncertainty",
        "value_template": "{{ value_json.u_uvi }}",
        "unit_of_measurement": "UVI",
        "state_class": "measurement",
        "icon": "mdi:plus-minus-variant",
        **DIAGNOSTIC,
    },
    # It begins anew at the keeper's midnight, and may fall when a day is counted anew: "total_increasing"
    # would take a fall for a new beginning, and count the day twice.
    "dose": {
        "name": "UV dose today",
        "value_template": "{{ value_json.dose_uvi_h }}",
        "unit_of_measurement": "UVI·h",
        "state_class": "total",
        "last_reset_value_template": "{{ value_json.day_from }}",
        "suggested_display_precision": 1,
        "icon": "mdi:sun-clock-outline",
    },
    "place": {
        "name": "Place in band",
        "device_class": "enum",
        "options": list(PLACES.values()),
        "value_template": (
            "{{ " + _table((place, f"'{words}'") for place, words in PLACES.items()) + "[value_json.place] }}"
        ),
        "icon": "mdi:arrow-expand-vertical",
    },
    "doubts": {
        "name": "Doubts",
        "value_template": (
            "{{ value_json.flags | join(', ') | replace('_', ' ') if value_json.flags else 'none' }}"
        ),
        "icon": "mdi:chat-question-outline",
        **DIAGNOSTIC,
    },
    "seen": {
        "name": "Day seen",
        "value_template": "{{ (100 * value_json.coverage) | round(1) }}",
        "unit_of_measurement": "%",
        "state_class": "measurement",
        "icon": "mdi:eye-outline",
        **DIAGNOSTIC,
        **_NOT_SHOWN,
    },
    "calibration_until": {
        "name": "Calibration holds until",
        "device_class": "date",
        "value_template": "{{ value_json.calibration_until }}",
        **DIAGNOSTIC,
        **_NOT_SHOWN,
    },
}

BOARD_ENTITIES: Final[Mapping[str, tuple[str, Fields]]] = {
    "connection": (
        "binary_sensor",
        {"name": "Connection", "device_class": "connectivity", **_on_if("value_json.connected")},
    ),
    "firmware": (
        "sensor",
        {
            "name": "Firmware",
            "value_template": "{{ value_json.firmware or 'not known' }}",
            "icon": "mdi:chip",
        },
    ),
    "lost": (
        "sensor",
        {
            "name": "Lost readings",
            "value_template": "{{ value_json.lost_readings }}",
            "state_class": "total_increasing",
            "icon": "mdi:database-minus-outline",
        },
    ),
    "last_reading": (
        "sensor",
        {
            "name": "Last reading",
            "device_class": "timestamp",
            "value_template": "{{ value_json.last_reading_at }}",
            **_NOT_SHOWN,
        },
    ),
}
"""The component and description of what a board shows besides its troubles; all are diagnostic."""
