"""`baskline week` on weeks of every sort, through a real store."""

import json
from datetime import date

import pytest

from baskline.week_words import DAY_FIGURES, week_lines
from ingest.store.store import Store
from ingest.week import week
from tests.baskline.documented import departures, example, sections, table
from tests.baskline.making import demo_folder, room, said_here
from tests.baskline.many_days import fill_days

LAST = date(2025, 5, 17)
WEEK = "`baskline week [ENCLOSURE] --json`"


def words(folder, *more):
    said = said_here("week", *more, folder=folder)
    assert said.code == 0, said.err
    assert said.err == ""
    return said.out


def week_json(folder, *more):
    return json.loads(words(folder, "--json", *more))


def line(text, name):
    return next(each for each in text.splitlines() if each.startswith(name))


@pytest.fixture
def config(tmp_path):
    return room(tmp_path)


def test_each_day_has_its_dose_and_its_hours(config, tmp_path):
    fill_days(config, date(2025, 5, 11), 7, lambda number: 2.0)
    text = words(tmp_path)
    assert text.startswith("Sunday 11 May 2025 to Saturday 17 May 2025\n")
    assert "Slate ledge: basking spot, wanted 1 to 3, never over 4" in text
    assert line(text, "Sat 17").split() == [
        *("Sat", "17", "20.0", "±", "1.8"),
        *("0.0", "10.0", "0.0", "0.0", "100", "%"),
    ]
    assert line(text, "usual").endswith("20.0 UVI·h a day; nothing to compare with yet")
    assert "unusual" not in text


def test_a_week_like_those_before_says_so_and_another_does_not(config, tmp_path):
    fill_days(config, date(2025, 4, 6), 42, lambda number: 2.0 if number < 35 else 2.6)
    assert line(words(tmp_path, "--to", "2025-05-10"), "usual").endswith(
        "20.0 UVI·h a day, 20.0 in the 7 before, 20.0 in the 30 before: much as before"
    )
    text = words(tmp_path)
    assert line(text, "usual").endswith(
        "26.0 UVI·h a day, 20.0 in the 7 before, 20.0 in the 30 before: not like before"
    )
    assert "Sun 11, dose 26.0 UVI·h where 20.0 is usual" in line(text, "unusual")


def test_a_day_of_which_nothing_was_seen_is_named_and_has_no_zeros(config, tmp_path):
    fill_days(config, date(2025, 5, 11), 7, lambda number: 2.0, without=[2])
    text = words(tmp_path)
    assert line(text, "Tue 13").split() == ["Tue", "13", "not", "seen", "0", "%"]
    assert line(text, "not seen") == "not seen  Tue 13"
    (spot,) = week_json(tmp_path)["enclosures"][0]["spots"]
    unseen = spot["days"][2]
    assert (unseen["date"], unseen["coverage"], unseen["compared"]) == ("2025-05-13", 0.0, {})
    assert {unseen[name] for name in DAY_FIGURES} == {None}


def test_too_few_days_give_nothing_to_compare(config, tmp_path):
    fill_days(config, date(2025, 5, 15), 3, lambda number: 2.0)
    assert line(words(tmp_path), "usual").endswith("not known: too few of these days were seen well")


def test_one_spot_alone_does_not_tell_whether_there_is_a_retreat(config, tmp_path):
    fill_days(config, date(2025, 5, 11), 7, lambda number: 2.0)
    assert line(words(tmp_path), "retreat").endswith("not known: one spot alone does not tell")


def test_a_weak_spot_is_a_retreat_on_the_days_on_which_it_was_weak(tmp_path):
    more = """
[board.hollow]
identity = "rock-2"
label = "In the hollow"

[spot.hollow]
label = "Hollow"
kind = "retreat"
enclosure = "garden"
lamp = "tube"
board = "hollow"
calibration = "ledge.toml"
band = { low_uvi = 0.0, high_uvi = 0.7, ceiling_uvi = 1.4 }
"""
    config = room(tmp_path, more=more)
    fill_days(config, date(2025, 5, 11), 7, lambda number: 2.0)
    fill_days(config, date(2025, 5, 11), 7, lambda number: 0.3 if number < 5 else 1.2, board="rock-2")
    text = words(tmp_path)
    assert "retreat   Hollow, on 5 of 7 days (mean UVI while lit: Slate ledge 2.0, Hollow 1.2)" in text
    gradients = week_json(tmp_path)["enclosures"][0]["gradients"]
    assert [seen["has_retreat"] for seen in gradients] == [True] * 5 + [False] * 2
    last = words(tmp_path, "--to", "2025-05-23")
    assert "retreat   none seen on 1 of 1" not in last


def test_an_enclosure_can_be_chosen_and_a_wrong_one_is_refused(config, tmp_path):
    fill_days(config, date(2025, 5, 11), 7, lambda number: 2.0)
    assert words(tmp_path, "garden") == words(tmp_path)
    said = said_here("week", "gardn", folder=tmp_path)
    assert (said.code, said.out) == (1, "")
    assert "Did you mean 'garden'?" in said.err
    said = said_here("week", "--to", "17.5.2025", folder=tmp_path)
    assert said.code == 2
    assert "write it as 2025-05-17" in said.err


def test_a_store_without_readings_is_said(config, tmp_path):
    fill_days(config, date(2025, 5, 11), 0, lambda number: 2.0)
    said = said_here("week", folder=tmp_path)
    assert said.code == 1
    assert "no reading is stored yet" in said.err


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return demo_folder(tmp_path_factory)


def test_the_demos_week_has_what_happened_in_it(demo):
    text = words(demo)
    assert "Fern crown: over the ceiling once, 2.9 h in all" in text
    assert "Hay rick: no calibration once, open now" in text
    assert "retreat   not known: no UVI is known of Hay rick" in text
    assert "retreat   Crevice, on 7 of 7 days" in text
    assert max(map(len, text.splitlines())) < 110


def test_a_week_has_the_documented_keys_and_types(demo):
    event = table(sections()["An event"])
    for document in (week_json(demo), json.loads(example(sections()[WEEK], "json"))):
        assert departures(document, table(sections()[WEEK])) == []
        for enclosure in document["enclosures"]:
            assert all(departures(each, event) == [] for each in enclosure["events"])


@pytest.mark.parametrize(("wide", "columns"), [(True, 80), (False, 50)])
def test_the_table_fits_the_terminal(demo, wide, columns):
    from ingest.config import load_config

    config = load_config(demo / "baskline.toml")
    with Store.open(demo / "demo.db", read_only=True) as store:
        shown = week(store, config, LAST, list(config.enclosures))
    rows = [
        text
        for text, _ in week_lines(shown, config, wide=wide)
        if text[:3] in ("Sun", "Mon", "Sat") and " to " not in text
    ]
    assert len(rows) == 15
    assert max(map(len, rows)) <= columns - 2


def test_each_spot_has_a_chart_named_after_it(demo, tmp_path):
    said = words(demo, "--chart", tmp_path / "drawn.svg")
    drawn = [tmp_path / f"drawn-{spot}.svg" for spot in ("slate", "crevice", "thyme", "hay_rick", "fern")]
    assert all(str(file) in said and file.stat().st_size > 1000 for file in drawn)


def test_a_single_chart_has_the_name_that_was_given(demo, tmp_path):
    words(demo, "green_wall", "--chart", tmp_path / "drawn.svg")
    assert "<svg" in (tmp_path / "drawn.svg").read_text()
    said = said_here("week", "--chart", "drawn.gif", folder=demo)
    assert (said.code, said.out) == (2, "")
