"""The table of the spots as they are now."""

import io

import pytest
from rich.console import Console

from baskline.live_table import PLACE_WORDS, LiveTable
from calibrate.samples import Flag
from exposure.events import Event, EventKind, Severity
from exposure.place import Place
from ingest.mqtt.payloads import SpotState
from tests.baskline.making import room

NOON_MS = 1_747_476_000_000  # 12:00 in Vienna


@pytest.fixture
def config(tmp_path):
    return room(tmp_path)


def a_state(**more):
    usual = {
        "spot": "ledge",
        "at_ms": NOON_MS,
        "uvi": 2.5,
        "u_uvi": 0.11,
        "flags": Flag(0),
        "place": Place.IN_BAND,
        "dose_uvi_h": 7.25,
        "coverage": 1.0,
        "zone": None,
        "band_low_uvi": 1.0,
        "band_high_uvi": 3.0,
        "ceiling_uvi": 4.0,
    }
    return SpotState(**{**usual, **more})


def an_event(**more):
    usual = {
        "identity": "over_ceiling.ledge.1",
        "kind": EventKind.OVER_CEILING,
        "subject_kind": "spot",
        "subject": "ledge",
        "severity": Severity.NOW,
        "opened_ms": NOON_MS,
        "sentence": "above the ceiling, 4.9 ± 0.3 over 4 (k = 2)",
        "advice": "",
    }
    return Event(**{**usual, **more})


def printed(config, tell, *, terminal=False, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, force_terminal=terminal, markup=False, highlight=False)
    with LiveTable(config, console) as table:
        table.open_events([], NOON_MS)
        tell(table)
        if terminal:
            return "\n".join(part.rstrip() for part in console_lines(table, width))
    return out.getvalue()


def console_lines(table, width):
    plain = Console(file=io.StringIO(), width=width)
    plain.print(table._table())
    return plain.file.getvalue().splitlines()


def test_piped_a_line_comes_now_and_then(config):
    said = printed(config, lambda table: table.spot(a_state()))
    assert said == "12:00         ledge 2.5 in band\n"


def test_piped_it_does_not_repeat_itself_within_two_hours(config):
    def tell(table):
        for minute in range(0, 180, 10):
            table.open_events([], NOON_MS + minute * 60_000)
            table.spot(a_state())

    assert [line[:5] for line in printed(config, tell).splitlines()] == ["12:00", "14:00"]


def test_what_is_not_known_is_not_written_as_zero(config):
    said = printed(config, lambda table: table.spot(a_state(uvi=None, u_uvi=None, place=Place.UNKNOWN)))
    assert said == "12:00         ledge - not known\n"


def test_on_a_terminal_the_table_has_value_band_ceiling_and_dose_within_80_columns(config):
    said = printed(config, lambda table: table.spot(a_state()), terminal=True)
    assert said.splitlines() == [
        "",
        "12:00  each spot now, and the day so far; ± is k = 2",
        "spot               UVI  band    ceiling  is         dose UVI·h   seen",
        "Slate ledge  2.5 ± 0.2  1 to 3        4  = in band         7.2  100 %",
    ]


def test_a_place_is_told_by_a_sign_and_a_word_and_needs_no_colour():
    signs = [words[0] for words in PLACE_WORDS.values()]
    assert set(PLACE_WORDS) == set(Place)
    assert len(set(signs)) == len(signs)


def test_an_event_comes_with_its_urgency_and_its_end_with_the_reason(config):
    closing = "back under the ceiling, 2.2 ± 0.2 (k = 2)"

    def tell(table):
        table.event(an_event())
        table.event(an_event(closed_ms=NOON_MS + 3_600_000, closing=closing))
        table.event(an_event(severity=Severity.NOTE, closed_ms=NOON_MS, sentence="back in the band"))

    assert printed(config, tell).splitlines() == [
        "12:00  NOW    ledge: above the ceiling, 4.9 ± 0.3 over 4 (k = 2)",
        f"13:00  over   ledge: {closing}",
        "12:00  NOTE   ledge: back in the band",
    ]


@pytest.mark.parametrize("width", [50, 80, 120])
def test_no_cell_of_the_table_is_cut_off(config, width):
    state = a_state(place=Place.OVER_CEILING, uvi=0.29, u_uvi=0.02, dose_uvi_h=12.34)
    told = printed(config, lambda table: table.spot(state), terminal=True, width=width)
    assert "Slate ledge" in told
    assert "0.29 ± 0.04" in told
    assert "! over ceiling" in told
    assert "…" not in told


def test_before_anything_has_come_it_says_nothing(config):
    assert printed(config, lambda table: table.spot(a_state(at_ms=None))) == ""
