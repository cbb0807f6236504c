import json
import math
import re
from datetime import date
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibrate.samples import Flag
from exposure.attention import Notice, Why
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.payloads import BoardState, Change, Payloads, SpotState, decimals_for, iso_utc
from ingest.mqtt.settings import MqttSettings
from ingest.mqtt.topics import Topics

DOCUMENT = (Path(__file__).parents[3] / "ingest" / "TOPICS.md").read_text()

TEXT = {"type": "string"}
TEXT_OR_NULL = {"type": ["string", "null"]}
NUMBER_OR_NULL = {"type": ["number", "null"]}
TIME = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$"}
TIME_OR_NULL = {"anyOf": [TIME, {"type": "null"}]}
KINDS = {"type": "array", "items": {"enum": [kind.value for kind in EventKind]}}


def whole(properties):
    """A schema in which every key is there and no other."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


ORIGIN = {"site": TEXT, "bridge": TEXT}
SPOT = whole(
    {
        **ORIGIN,
        "spot": TEXT,
        "at": TIME_OR_NULL,
        "uvi": NUMBER_OR_NULL,
        "u_uvi": {"type": ["number", "null"], "minimum": 0},
        "flags": {"type": "array", "items": {"enum": [flag.name.lower() for flag in Flag]}},
        "place": {"enum": [place.value for place in Place]},
        "dose_uvi_h": NUMBER_OR_NULL,
        "coverage": {"type": "number", "minimum": 0, "maximum": 1},
        "day_from": TIME_OR_NULL,
        "zone": {"anyOf": [{"type": "integer", "minimum": 1, "maximum": 4}, {"type": "null"}]},
        "band_low_uvi": NUMBER_OR_NULL,
        "band_high_uvi": NUMBER_OR_NULL,
        "ceiling_uvi": NUMBER_OR_NULL,
        "calibration_until": {"type": ["string", "null"], "pattern": r"^\d{4}-\d\d-\d\d$"},
        "open_events": KINDS,
    }
)
BOARD = whole(
    {
        **ORIGIN,
        "board": TEXT,
        "connected": {"type": "boolean"},
        "port": TEXT_OR_NULL,
        "firmware": TEXT_OR_NULL,
        "sensor": TEXT_OR_NULL,
        "last_reading_at": TIME_OR_NULL,
        "lost_readings": {"type": "integer", "minimum": 0},
        "open_events": KINDS,
    }
)
EVENT_FIELDS = {
    "identity": TEXT,
    "kind": {"enum": [kind.value for kind in EventKind]},
    "subject_kind": {"enum": ["spot", "board"]},
    "subject": TEXT,
    "severity": {"enum": [severity.value for severity in Severity]},
    "sentence": TEXT,
    "advice": TEXT,
    "evidence": {"type": "object", "additionalProperties": {"type": ["string", "number", "boolean", "null"]}},
    "opened_at": TIME,
    "acknowledged_at": TIME_OR_NULL,
    "closed_at": TIME_OR_NULL,
    "closing": TEXT_OR_NULL,
}
EVENT = whole(
    {
        "event_type": TEXT,
        "change": {"enum": [change.value for change in Change]},
        **ORIGIN,
        **EVENT_FIELDS,
    }
)
NOTICE = whole(
    {
        "schema": {"const": "baskline.notice/1"},
        "event_type": {"enum": [why.value for why in Why]},
        "why": {"enum": [why.value for why in Why]},
        **ORIGIN,
        "at": TIME,
        "urgent": {"type": "boolean"},
        "escalated": {"type": "boolean"},
        "severity": {"enum": [severity.value for severity in Severity]},
        "kind": {"enum": [kind.value for kind in EventKind]},
        "title": TEXT,
        "text": TEXT,
        "count": {"type": "integer", "minimum": 1},
        "events": {"type": "array", "minItems": 1, "items": TEXT},
    }
)
OPEN_EVENTS = whole(
    {
        **ORIGIN,
        "at": TIME,
        "count": {"type": "integer", "minimum": 0},
        "events": {"type": "array", "maxItems": 50, "items": whole(EVENT_FIELDS)},
    }
)
PAYLOADS = Payloads("home", "room")

floats = st.none() | st.floats()
times = st.none() | st.integers(0, 4_000_000_000_000)
kinds = st.lists(st.sampled_from(EventKind), max_size=3)
spots = st.builds(
    SpotState,
    spot=st.just("ledge"),
    at_ms=times,
    uvi=floats,
    u_uvi=st.none() | st.floats(min_value=0),
    flags=st.sampled_from(list(range(1 << len(Flag)))[::97]).map(Flag),
    place=st.sampled_from(Place),
    dose_uvi_h=floats,
    coverage=st.floats(0, 1),
    zone=st.none() | st.integers(1, 4),
    band_low_uvi=floats,
    band_high_uvi=floats,
    ceiling_uvi=floats,
    open_events=kinds,
    day_from_ms=times,
    calibration_until=st.none() | st.dates(min_value=date(2000, 1, 1)),
)
events = st.builds(
    Event,
    identity=st.text(),
    kind=st.sampled_from(EventKind),
    subject_kind=st.sampled_from(["spot", "board"]),
    subject=st.text(),
    severity=st.sampled_from(Severity),
    opened_ms=st.integers(0, 4_000_000_000_000),
    sentence=st.text(),
    advice=st.text(),
    evidence=st.dictionaries(st.text(), st.none() | st.text() | st.floats() | st.integers() | st.booleans()),
    acknowledged_ms=times,
    closed_ms=times,
    closing=st.none() | st.text(),
)


def spot_state(**changes):
    return SpotState(
        **{
            "spot": "ledge", "at_ms": 1_772_368_200_000, "uvi": 2.8734, "u_uvi": 0.2131, "flags": Flag(0),
            "place": Place.IN_BAND, "dose_uvi_h": 12.34567, "coverage": 0.98765, "zone": 3,
            "band_low_uvi": 1.0, "band_high_uvi": 2.6, "ceiling_uvi": 7.4, **changes,
        }
    )  # fmt: skip


def read(payload):
    def refuse(constant):
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(payload, parse_constant=refuse)


def event(**changes):
    return Event(
        **{
            "identity": "over_ceiling.ledge.1", "kind": EventKind.OVER_CEILING, "subject_kind": "spot",
            "subject": "ledge", "severity": Severity.NOW, "opened_ms": 1, "sentence": "s", "advice": "a",
            **changes,
        }
    )  # fmt: skip


@given(spots)
def test_a_spots_state_is_valid_whatever_is_known_of_it(state):
    jsonschema.validate(read(PAYLOADS.spot_state(state)), SPOT)


@given(events, st.sampled_from(Change))
def test_an_events_message_is_valid_whatever_it_says(event, change):
    jsonschema.validate(read(PAYLOADS.event(event, change)), EVENT)


@given(
    st.builds(
        Notice,
        why=st.sampled_from(Why),
        kind=st.sampled_from(EventKind),
        urgent=st.booleans(),
        title=st.text(),
        events=st.lists(events, min_size=1, max_size=3).map(tuple),
        escalated=st.booleans(),
    ),
    st.text(),
)
def test_a_notice_is_valid_whatever_it_says(notice, text):
    jsonschema.validate(read(PAYLOADS.notice(notice, text, 0)), NOTICE)


def test_a_notice_is_as_grave_as_its_gravest_event():
    several = (event(severity=Severity.NOTE), event(), event(severity=Severity.TODAY))
    said = read(PAYLOADS.notice(Notice(Why.AGAIN, EventKind.OVER_CEILING, True, "x", several), "", 0))
    assert (said["severity"], said["count"]) == ("now", 3)


@given(st.lists(events, max_size=3))
def test_the_open_events_are_valid(open_events):
    jsonschema.validate(read(PAYLOADS.open_events(open_events, 0)), OPEN_EVENTS)


@given(st.none() | st.text(), times, st.integers(0, 2**40))
def test_a_boards_state_is_valid(text, at_ms, lost):
    state = BoardState(
        board="uv-1", connected=False, port=text, firmware=text, sensor=text, last_reading_ms=at_ms,
        lost_readings=lost, open_events=[EventKind.BOARD_SILENT],
    )  # fmt: skip
    jsonschema.validate(read(PAYLOADS.board_state(state)), BOARD)


def documented(heading):
    section = DOCUMENT.split(f"\n### {heading}")[1].split("\n#")[0]
    cells = re.findall(r"^\| (`[^|]*) \|", section, re.M)
    return [key for cell in cells for key in re.findall(r"`(\w+)`", cell)]


@pytest.mark.parametrize(
    ("heading", "schema"),
    [
        ("A spot", SPOT),
        ("A board", BOARD),
        ("A change of an event", EVENT),
        ("What should reach a person", NOTICE),
        ("What is open", OPEN_EVENTS),
    ],
)
def test_the_document_names_every_key_in_order(heading, schema):
    assert documented(heading) == list(schema["properties"])


def test_the_document_names_every_flag_place_and_kind():
    words = set(re.findall(r"`(\w+)`", DOCUMENT))
    named = {*Place, *EventKind, *Change, *Severity, *Why, *(flag.name.lower() for flag in Flag)}
    assert named <= words


def test_missing_is_null_and_never_zero():
    said = read(PAYLOADS.spot_state(spot_state(at_ms=None, uvi=None, u_uvi=math.nan, dose_uvi_h=None)))
    assert [said[key] for key in ("at", "uvi", "u_uvi", "dose_uvi_h", "calibration_until")] == [None] * 5


def test_the_end_of_a_calibration_is_a_day():
    said = read(PAYLOADS.spot_state(spot_state(calibration_until=date(2026, 3, 1))))
    assert said["calibration_until"] == "2026-03-01"


def test_numbers_are_rounded_to_what_their_uncertainty_supports():
    said = read(PAYLOADS.spot_state(spot_state()))
    assert (said["uvi"], said["u_uvi"], said["dose_uvi_h"], said["coverage"]) == (2.87, 0.21, 12.346, 0.988)


@pytest.mark.parametrize(
    ("u_uvi", "decimals"),
    [
        (0.0123, 3),
        (0.00004, 3),
        (0.123, 2),
        (1.23, 1),
        (12.3, 0),
        (123.0, 0),
        (0.0, 2),
        (math.nan, 2),
        (None, 2),
    ],
)
def test_decimals_follow_the_uncertainty(u_uvi, decimals):
    assert decimals_for(u_uvi) == decimals


def test_flags_are_said_in_words():
    state = spot_state(flags=Flag.SATURATED | Flag.TEMPERATURE)
    assert read(PAYLOADS.spot_state(state))["flags"] == ["saturated", "temperature"]


def test_times_are_utc_with_milliseconds():
    assert iso_utc(1_772_368_200_007) == "2026-03-01T12:30:00.007Z"


def test_many_open_events_are_counted_and_the_newest_listed():
    said = read(PAYLOADS.open_events([event(opened_ms=ms) for ms in range(60)], 0))
    assert said["count"] == 60
    assert [item["opened_at"][-4:-1] for item in said["events"]] == [f"{ms:03}" for ms in range(59, 9, -1)]


def test_an_event_for_the_outbox_arrives_at_least_once_and_is_not_retained():
    topics = Topics(MqttSettings(host="broker.lan", site="home", bridge="room"))
    message = PAYLOADS.event_for_outbox(topics, event(), Change.OPENED)
    assert (message.topic, message.qos, message.retain) == ("baskline/home/room/event", 1, False)
    assert read(message.payload)["event_type"] == "over_ceiling_opened"
