"""The sentence that is read from a metre away, and what is said of each spot."""

from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from baskline.page.spot_view import ago_words, spot_view
from baskline.page.verdict import Level, Verdict, verdict
from calibrate.samples import Flag
from exposure.events import Event, EventKind, Severity
from exposure.kinds import new_event
from exposure.place import Place
from ingest.mqtt.payloads import SpotState
from ingest.present import RoomNow, SpotNow
from tests.baskline.making import VIENNA, room
from tests.ingest.rig import NOON_MS

ZONE = ZoneInfo(VIENNA)


@pytest.fixture
def config(tmp_path: Path):
    return room(tmp_path)


def spot(uvi: float | None = 2.0, place: Place = Place.IN_BAND, **changes: object) -> SpotNow:
    flags = Flag(changes.pop("flags", 0))
    state = SpotState(
        spot="ledge",
        at_ms=NOON_MS - 5_000,
        uvi=uvi,
        u_uvi=None if uvi is None else 0.1,
        flags=flags,
        place=place,
        dose_uvi_h=3.0,
        coverage=0.5,
        zone=None,
        band_low_uvi=1.0,
        band_high_uvi=3.0,
        ceiling_uvi=4.0,
    )
    usual = SpotNow(state=state, enclosure="garden", board="rock-1", calibration="c", current=True, last=None)
    return replace(usual, **changes)


def now(*spots: SpotNow, events: tuple[Event, ...] = (), **changes: object) -> RoomNow:
    usual = RoomNow(
        at_ms=NOON_MS, watched=True, newest_ms=NOON_MS - 5_000, spots=spots, boards=(), events=events
    )
    return replace(usual, **changes)


def event(kind: EventKind = EventKind.OVER_CEILING, **options: object) -> Event:
    return new_event(kind, "ledge", NOON_MS - 600_000, "so it is", {}, **options)


def told(room_now: RoomNow, config) -> Verdict:
    return verdict(room_now, [spot_view(room_now, each, config) for each in room_now.spots], ZONE)


def test_all_is_well(config) -> None:
    assert told(now(spot()), config) == Verdict(Level.WELL, "The one spot is as wanted")
    assert told(now(spot(), spot(0.0, Place.DARK)), config).sentence == "All 2 spots as wanted"


@pytest.mark.parametrize(
    ("spots", "events", "level", "sentence"),
    [
        ([spot(4.4, Place.OVER_CEILING), spot()], (), Level.NOW, "1 spot needs you now: Slate ledge"),
        ([spot(2.9)], (event(),), Level.NOW, "1 spot needs you now: Slate ledge"),
        (
            [spot(0.4, Place.UNDER_BAND)],
            (event(EventKind.UNDER_BAND),),
            Level.TODAY,
            "1 spot wants a look today",
        ),
        ([spot(), spot(None, Place.UNKNOWN)], (), Level.UNSURE, "1 spot not known: Slate ledge"),
        (
            [spot(None, Place.UNKNOWN)],
            (event(EventKind.CALIBRATION_MISSING),),
            Level.TODAY,
            "1 spot not known, look today: Slate ledge",
        ),
        (
            [spot(), spot(3.5, Place.UNKNOWN, flags=Flag.SATURATED)],
            (),
            Level.UNSURE,
            "1 spot in doubt: Slate ledge",
        ),
        (
            [spot(), spot(0.4, Place.UNDER_BAND)],
            (),
            Level.SETTLING,
            "1 spot outside its band for now: Slate ledge",
        ),
        ([spot()], (event(EventKind.LAMP_FADING),), Level.WELL, "The one spot is as wanted"),
    ],
)
def test_the_worst_is_said_first(config, spots, events, level, sentence) -> None:
    found = told(now(*spots, events=events), config)
    assert found.level is level
    assert found.sentence.startswith(sentence)


def test_what_is_not_known_is_said_beside_what_wants_a_look_and_the_rest_comes_last(config) -> None:
    room_now = now(events=(event(EventKind.UNDER_BAND),))
    low = spot_view(room_now, spot(0.4, Place.UNDER_BAND), config)
    lost = replace(spot_view(now(), spot(None, Place.UNKNOWN), config), label="Cork bark")
    well = spot_view(now(), spot(), config)
    found = verdict(room_now, [well, lost, low, well], ZONE)
    assert found.level is Level.TODAY
    assert found.sentence == "1 spot wants a look today: Slate ledge. 1 spot not known: Cork bark"
    assert found.details[1:] == (
        "Cork bark: not known, the sensor gives no value",
        "The other 2 are as wanted",
    )


@pytest.mark.parametrize(("uvi", "why"), [(0.9, "no more than its uncertainty"), (0.7, "not for long yet")])
def test_outside_by_less_than_its_uncertainty_is_not_called_a_matter_of_time(config, uvi, why) -> None:
    assert why in told(now(spot(), spot(uvi, Place.UNDER_BAND)), config).details[0]


def test_nobody_who_watches_outweighs_all_but_tells_it_too(config) -> None:
    found = told(now(spot(4.4, Place.OVER_CEILING), watched=False, newest_ms=NOON_MS - 7_300_000), config)
    assert (found.level, found.sentence) == (Level.BLIND, "Nobody is watching")
    assert found.details[0] == "The newest reading is from 11:58, 2.0 h ago."
    assert found.details[-1].startswith("Before that: Slate ledge, 4.4 ± 0.2, over its ceiling")


def test_silent_boards_are_not_calm_ones(config) -> None:
    assert told(now(spot(), newest_ms=NOON_MS - 400_000), config).sentence == "No board speaks"
    assert "Nothing has been read yet." in told(now(spot(), newest_ms=None), config).details


def test_what_the_keeper_has_seen_stays_and_says_so(config) -> None:
    seen = event().acknowledged(NOON_MS)
    assert "you have seen this" in told(now(spot(), events=(seen,)), config).details[0]


def test_the_sentence_does_not_change_with_the_numbers(config) -> None:
    one, other = (told(now(spot(uvi, Place.OVER_CEILING)), config) for uvi in (4.2, 4.4))
    assert one.sentence == other.sentence
    assert one.details != other.details


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"uvi": None, "flags": Flag.UNCALIBRATED}, "not calibrated"),
        ({"uvi": None, "flags": Flag.SENSOR_FAULT}, "sensor fault"),
        ({"uvi": None, "current": False}, "no reading since 13:59"),
    ],
)
def test_why_a_spot_is_not_known(config, changes, words) -> None:
    view = spot_view(now(), spot(place=Place.UNKNOWN, **changes), config)
    assert view.why_unknown == words
    assert view.value == ""
    assert not view.figure.shown


def test_what_was_last_known_is_said_and_drawn_as_of_then(config) -> None:
    gone = spot(None, Place.UNKNOWN, current=False, last=(NOON_MS - 90_000_000, 2.9, 0.15, Flag(0)))
    view = spot_view(now(), gone, config)
    assert view.last == "Last known: 2.9 ± 0.3 UVI at 13:00 on 28 May"
    assert (view.figure.shown, view.figure.then) == (True, True)


def test_a_lower_bound_is_open_to_the_right(config) -> None:
    view = spot_view(now(), spot(3.5, Place.UNKNOWN, flags=Flag.SATURATED), config)
    assert view.value == "at least 3.5 ± 0.2"
    assert view.doubts == "sensor at its limit"
    assert view.figure.open_end


@pytest.mark.parametrize("uvi", [-0.2, 0.0, 1.0, 3.0, 4.0, 11.0])
def test_the_figure_keeps_its_order_and_its_frame(config, uvi: float) -> None:
    figure = spot_view(now(), spot(uvi), config).figure
    assert 8 <= figure.low_x < figure.high_x < figure.ceiling_x < 312
    assert 8 <= figure.from_x <= figure.value_x <= figure.to_x <= 312
    assert (figure.value_x > figure.ceiling_x) == (uvi > 4.0)


def test_a_dark_lamp_is_not_doubted_for_being_dark(config) -> None:
    assert spot_view(now(), spot(0.0, Place.DARK, flags=Flag.BELOW_RANGE), config).doubts == ""
    assert "below" in spot_view(now(), spot(0.4, Place.UNDER_BAND, flags=Flag.BELOW_RANGE), config).doubts


def test_the_gravest_event_stands_first(config) -> None:
    events = (event(EventKind.LAMP_FADING), event(EventKind.UNDER_BAND), event())
    view = spot_view(now(events=events), spot(), config)
    assert [each.severity for each in view.events] == [Severity.NOW, Severity.TODAY, Severity.NOTE]


@pytest.mark.parametrize(
    ("ago_ms", "words"), [(5000, "5 s ago"), (8 * 86_400_000, "8 days ago"), (-9, "0 s ago")]
)
def test_how_long_ago(ago_ms: int, words: str) -> None:
    assert ago_words(NOON_MS - ago_ms, NOON_MS) == words
