"""baskline/OUTPUT.md is what the commands print."""

import csv
import io
import json
import re
from pathlib import Path

import pytest

from baskline.wording import FLAG_WORDS
from calibrate.samples import Flag
from tests.baskline.documented import departures, example, is_a, sections, table
from tests.baskline.making import demo_folder, said_here
from tests.baskline.output_examples import of_ports

EVENT = table(sections()["An event"])
DAY, EVENTS, BOARDS, CHECK = (
    f"`baskline {words} --json`" for words in ("day SPOT", "events", "boards", "check")
)
FREE = ("evidence", "latest", "flag_hours", "garbage_bytes")
SPOTS = ["slate", "crevice", "thyme", "hay_rick", "fern"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


@pytest.fixture(scope="module")
def on_ports(tmp_path_factory) -> dict[str, dict[str, object]]:
    return of_ports(tmp_path_factory.mktemp("ports-room"))


def json_of(*words, folder):
    said = said_here(*words, "--json", folder=folder)
    assert said.err == ""
    return json.loads(said.out)


def shape(value):
    """Names of a document; a list is as its first item, and tables under free names are all alike."""
    if isinstance(value, dict):
        return {name: "table" if name in FREE else shape(inner) for name, inner in value.items()}
    return [shape(item) for item in value[:1]] if isinstance(value, list) else "scalar"


@pytest.mark.parametrize("spot", SPOTS)
def test_a_day_has_the_documented_keys_and_types(demo, spot):
    document = json_of("day", spot, folder=demo)
    assert departures(document, table(sections()[DAY])) == []
    for event in document["events"]:
        assert departures(event, EVENT) == []


def test_events_have_the_documented_keys_and_types(demo):
    document = json_of("events", folder=demo)
    assert departures(document, table(sections()[EVENTS])) == []
    assert len(document["events"]) >= 5
    for event in document["events"]:
        assert departures(event, EVENT) == []


@pytest.mark.parametrize(("command", "heading"), [("boards", BOARDS), ("check", CHECK)])
def test_what_is_said_of_ports_has_the_documented_keys_and_types(on_ports, command, heading):
    assert departures(on_ports[command], table(sections()[heading])) == []


def test_ports_without_any_board_are_described_in_the_same_way(tmp_path):
    said = json_of("boards", "--seconds", "1", folder=tmp_path)
    assert departures(said, table(sections()[BOARDS])) == []


@pytest.mark.parametrize("heading", [DAY, EVENTS, BOARDS, CHECK])
def test_each_example_keeps_to_its_own_table(heading):
    document = json.loads(example(sections()[heading], "json"))
    assert departures(document, table(sections()[heading])) == []
    for event in document.get("events", []):
        assert departures(event, EVENT) == []


def test_the_examples_have_the_shape_of_what_the_demo_gives_now(demo, on_ports):
    printed = {
        DAY: json_of("day", "slate", folder=demo),
        EVENTS: json_of("events", folder=demo),
        BOARDS: on_ports["boards"],
        CHECK: on_ports["check"],
    }
    for heading, document in printed.items():
        shown = json.loads(example(sections()[heading], "json"))
        assert shape(shown) == shape(document), "write them anew: python -m tests.baskline.output_examples"


def test_the_comparison_itself_finds_what_is_wrong():
    keys = {"a": "number or null", "b": "list", "b[].c": "text", "d": "table", "d.<name>": "whole number"}
    fine = {"a": None, "b": [{"c": "x"}], "d": {"anything": 1}}
    assert departures(fine, keys) == []
    assert departures({**fine, "e": 1}, keys) == ["e: there, but not documented"]
    assert departures({"a": "1", "b": [{}], "d": {"x": 1.5}}, keys) == [
        "a: '1' is not number or null",
        "b[].c: documented, but not there",
        "d.<name>: 1.5 is not whole number",
    ]
    assert departures({}, {"a": "text"}) == ["a: documented, but not there"]


def test_the_csv_has_the_documented_columns_and_types(demo):
    columns = table(sections()["`baskline day SPOT --csv`"])
    rows = list(csv.DictReader(io.StringIO(said_here("day", "slate", "--csv", folder=demo).out)))
    assert list(rows[0]) == list(columns)
    assert 8395 <= len(rows) <= 8400  # one each 10 s, but for 40 min with the plug out
    assert all(is_a(row["time_utc"], "UTC time") for row in rows)
    assert all(row["uvi"] and row["u_uvi"] and not row["flags"] for row in rows)
    assert len(rows[0]["uvi"].partition(".")[2]) == 4


def test_the_csv_of_an_uncalibrated_spot_leaves_the_value_empty_and_says_why(demo):
    rows = list(csv.DictReader(io.StringIO(said_here("day", "hay_rick", "--csv", folder=demo).out)))
    assert {(row["uvi"], row["u_uvi"], row["flags"]) for row in rows} == {("", "", "uncalibrated")}


def test_the_csv_begins_with_the_names_of_the_example(demo):
    first = said_here("day", "slate", "--csv", folder=demo).out.splitlines()[0]
    assert example(sections()["`baskline day SPOT --csv`"], "csv").splitlines()[0] == first


def test_every_flag_is_documented_and_has_words():
    names = {flag.name.lower() for flag in Flag}
    documented = re.findall(r"^\| `(\w+)` \|", sections()["Flags"], flags=re.M)
    assert set(documented) == names
    assert FLAG_WORDS.keys() == names
