"""The demo: what a newcomer sees, and that it is the same each time."""

import json
import re
import shutil
import sqlite3
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from baskline.demo import run_demo
from baskline.scenario import build, give_past
from exposure.days import HOUR_MS
from exposure.events import EventKind
from ingest.config import load_config
from ingest.store.store import Store
from tests.baskline.invented import past_room
from tests.baskline.making import demo_folder, room, said_here
from tests.baskline.pictures import pixels

SPOTS = ["slate", "crevice", "thyme", "hay_rick", "fern"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return demo_folder(tmp_path_factory)


@pytest.fixture(scope="module")
def printed(demo) -> str:
    return (demo / "printed.txt").read_text()


@pytest.fixture(scope="module")
def replays(demo, tmp_path_factory) -> list[Path]:
    """Two stores, each with the weeks before and then filled from the demo's capture."""
    stores = [tmp_path_factory.mktemp("replays") / f"{name}.db" for name in ("one", "other")]
    past = load_config(past_room(tmp_path_factory).config_file).bridge.store
    for store in stores:
        shutil.copy(past, store)
        said = said_here("replay", "demo.capture", "--store", store, folder=demo)
        assert said.code == 0, said.err
    return stores


def day(spot, folder, *words):
    said = said_here("day", spot, "--json", *words, folder=folder)
    assert said.code == 0, said.err
    return said.out


def events(folder, *words):
    return json.loads(said_here("events", "--json", *words, folder=folder).out)["events"]


def test_it_says_what_it_is_and_the_cautions_first(printed):
    lines = printed.splitlines()
    assert (
        lines[0] == "An invented room: three enclosures, five spots, four boards. One day of it, accelerated."
    )
    assert lines[1] == "The store begins with the 8 weeks before that day, also invented."
    assert lines[2].startswith("Before you reach in: lamps are hot and their UV hurts eyes and skin.")
    assert "mains wiring to a licensed electrician" in lines[2]
    assert "it never switches a lamp" in lines[2]


def test_piped_it_prints_plain_lines(printed):
    assert "\x1b" not in printed
    assert not any(line != line.rstrip() for line in printed.splitlines())


def test_the_mishaps_and_the_events_that_follow_come_in_order_of_time(printed):
    told = re.findall(r"^(\d\d:\d\d)  ", printed, flags=re.M)
    assert told == sorted(told)
    story = [
        "(a sage stalk leans into the light of the thyme bank)",
        "TODAY  thyme: below the band",
        "over   thyme: no longer below the band",
        "(the green wall's tube begins to give too much)",
        "NOW    fern: above the ceiling",
        "(the board behind the slate is unplugged)",
        "TODAY  stone-1: silent",
        "over   stone-1: spoke again",
        "over   fern: back under the ceiling",
    ]
    places = [printed.find(part) for part in story]
    assert -1 not in places
    assert places == sorted(places)


def test_each_spot_gets_its_day_in_words_and_a_chart(demo, printed):
    for label in ("Slate ledge", "Crevice", "Thyme bank", "Hay rick", "Fern crown"):
        assert f"{label}, Saturday 17 May 2025" in printed
    for spot in SPOTS:
        path = demo / f"day-{spot}.png"
        assert f"Drawn: day-{spot}.png" in printed
        picture = pixels(path.read_bytes())
        assert picture.shape[1] == 1520
        assert 0.02 < (picture < 0.9).mean() < 0.6  # something is drawn, and it is no black box


def test_the_commands_that_it_names_work(demo, printed):
    named = [line.split()[1:] for line in printed.splitlines() if line.startswith("  baskline ")]
    assert [words[0] for words in named] == ["day", "week", "lamps", "events", "replay"]
    (demo / "again.db").unlink(missing_ok=True)
    for words in named:
        assert said_here(*words, folder=demo).code == 0


def test_the_truth_of_the_room_is_found_again(demo):
    kinds = {(event["kind"], event["subject"]) for event in events(demo)}
    assert {
        (EventKind.UNDER_BAND, "thyme"),
        (EventKind.OVER_CEILING, "fern"),
        (EventKind.BOARD_SILENT, "stone-1"),
    } <= kinds
    assert json.loads(day("fern", demo))["hours_above_ceiling"] == pytest.approx(2.9, abs=0.2)
    assert json.loads(day("hay_rick", demo))["dose_uvi_h"] is None


@pytest.mark.parametrize("spot", SPOTS)
def test_a_replay_of_its_capture_gives_the_same_day_each_time_and_as_it_was_live(demo, replays, spot):
    live = day(spot, demo)
    assert [day(spot, demo, "--store", store) for store in replays] == [live, live]


def test_a_replay_gives_the_same_events_as_the_live_day(demo, replays):
    live = events(demo)
    assert len(live) >= 5
    assert [events(demo, "--store", store) for store in replays] == [live, live]


def test_a_capture_replayed_into_a_store_that_has_it_adds_no_reading(demo, replays):
    said = said_here("replay", "demo.capture", "--store", replays[0], folder=demo)
    assert "0 readings that" in said.out


@pytest.fixture
def short_day(monkeypatch):
    """The demo, but one day and from 10:00 to 11:00: the first mishap is in it, and what is said of it."""

    def shortened(folder, seed=1):
        scenario = build(folder, seed)
        start_ms = scenario.day.start_ms + 10 * HOUR_MS
        return replace(scenario, day=replace(scenario.day, start_ms=start_ms, end_ms=start_ms + HOUR_MS))

    monkeypatch.setattr("baskline.demo.build", shortened)
    monkeypatch.setattr("baskline.demo.give_past", partial(give_past, days=1))
    monkeypatch.setattr("baskline.demo._draw", lambda *_: None)


def told_and_stored(folder, capsys, *, seed, config=None):
    run_demo(folder, seed=seed, broker_config=config)
    out = capsys.readouterr().out.replace(str(folder), "FOLDER")
    with Store.open(folder / "demo.db", read_only=True) as store:
        identities = [event.identity for event in store.events.between(0, 2**62)]
    return out, identities, [day(spot, folder) for spot in SPOTS]


def test_the_same_seed_gives_the_same_day_and_another_seed_another(short_day, tmp_path, capsys):
    first = told_and_stored(tmp_path / "a", capsys, seed=7)
    assert any(identity.startswith("under_band.thyme.") for identity in first[1])
    assert told_and_stored(tmp_path / "b", capsys, seed=7) == first
    other = told_and_stored(tmp_path / "c", capsys, seed=8)
    assert other[2] != first[2]
    assert (tmp_path / "a" / "demo.capture").read_bytes() != (tmp_path / "c" / "demo.capture").read_bytes()


def test_it_replaces_its_own_files_and_no_others(short_day, tmp_path, capsys):
    told_and_stored(tmp_path, capsys, seed=1)
    (tmp_path / "mine.txt").write_text("mine")
    with sqlite3.connect(tmp_path / "demo.db") as database:
        before = database.execute("SELECT count(*) FROM run").fetchone()
    database.close()
    told_and_stored(tmp_path, capsys, seed=1)
    with sqlite3.connect(tmp_path / "demo.db") as database:
        assert database.execute("SELECT count(*) FROM run").fetchone() == before == (2,)  # past and day
    database.close()
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_a_folder_with_another_configuration_is_left_alone(tmp_path):
    (tmp_path / "baskline.toml").write_text("[bridge]\n")
    said = said_here("demo", "--folder", tmp_path, folder=tmp_path)
    assert said.code == 1
    assert "another file than the demo's" in said.err
    assert (tmp_path / "baskline.toml").read_text() == "[bridge]\n"


def test_a_keepers_configuration_that_is_wrong_does_not_stop_the_demo(short_day, tmp_path, capsys):
    config = tmp_path / "mine.toml"
    config.write_text("[bridge]\n")
    out, _, _ = told_and_stored(tmp_path / "room", capsys, seed=1, config=config)
    assert "mine.toml" in out
    assert "So no broker is told of this demo." in out
    assert "An invented room" in out


def test_a_broker_that_is_not_there_is_said_and_does_not_stop_the_demo(short_day, tmp_path, capsys):
    room(tmp_path, more='\n[mqtt]\nhost = "127.0.0.1"\nport = 9\n')
    out, _, days = told_and_stored(tmp_path / "room", capsys, seed=1, config=tmp_path / "baskline.toml")
    assert "broker 127.0.0.1:9: nothing answers on this port" in out
    assert len(days) == len(SPOTS)
