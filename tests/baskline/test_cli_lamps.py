"""`baskline lamps` and `baskline lamp changed`, through a real store."""

import json
from datetime import date

import pytest

from ingest.store.store import Store
from tests.baskline.documented import departures, example, sections, table
from tests.baskline.making import demo_folder, room, said_here
from tests.baskline.many_days import fill_days

LAMPS = "`baskline lamps [LAMP] --json`"


def words(folder, *more):
    said = said_here(*more, folder=folder)
    assert said.code == 0, said.err
    assert said.err == ""
    return said.out


def lamp_json(folder, *more):
    (lamp,) = json.loads(words(folder, "lamps", "tube", "--json", *more))["lamps"]
    return lamp


def refused(folder, *more):
    said = said_here("lamp", "changed", *more, folder=folder)
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.code, said.err


@pytest.fixture
def config(tmp_path):
    return room(tmp_path)


def since(config, days, uvi_of):
    """Fill days from the day on which the room's lamp was put in."""
    fill_days(config, config.lamps["tube"].installed, days, uvi_of)


def test_a_lamp_that_burns_in_has_no_verdict(config, tmp_path):
    since(config, 6, lambda number: 2.0)
    text = words(tmp_path, "lamps")
    assert text.startswith("tube: linear fluorescent, T5, 30 cm away, nothing in between\n")
    assert "since         18 January 2025\n" in text
    assert "burned        about 60 h, of which 60 h were seen; seen to come on 6 times in 6 days" in text
    assert "verdict     none yet: burning in, 60 of 100 h" in text
    assert "replace by" not in text
    assert lamp_json(tmp_path)["spots"][0]["state"] == "burning_in"


def test_a_fading_lamp_has_its_rate_and_the_day_on_which_it_may_be_too_weak(config, tmp_path):
    since(config, 60, lambda number: 2.0 * 0.985 ** (number / 7))
    text = words(tmp_path, "lamps")
    assert "verdict     fading: −1.5 % a week (−1.8 to −1.2)" in text
    assert "level       1.8 ± 0.2 UVI (k = 2); baseline 1.9" in text
    assert "forecast    below its band (under 1) between " in text
    assert ", the earliest day on which it may be too weak" in text
    lamp = lamp_json(tmp_path)
    assert lamp["replace_by"] == min(each["earliest"] for each in lamp["spots"][0]["forecasts"])


def test_a_rising_lamp_is_told_like_a_fading_one(config, tmp_path):
    since(config, 60, lambda number: 2.0 * 1.012 ** (number / 7))
    text = words(tmp_path, "lamps")
    assert "verdict     rising: +1.2 % a week (" in text
    assert "above its band (over 3)" in text
    assert "replace by" not in text


def test_a_step_is_told_from_ageing(config, tmp_path):
    since(config, 60, lambda number: 2.0 if number < 40 else 1.4)
    assert "step        down by 30 % on 27 February 2025: not how lamps age" in words(tmp_path, "lamps")


def test_the_package_counts_at_its_own_distance(tmp_path):
    config = room(tmp_path)
    text = (tmp_path / "baskline.toml").read_text()
    claim = "distance_cm = 30.0\npackage_claim_uvi = 1.0\npackage_claim_at_cm = 30.0"
    (tmp_path / "baskline.toml").write_text(text.replace("distance_cm = 30.0", claim))
    since(config, 30, lambda number: 2.0)
    assert "package     2.0 times the 1 that it claims for this distance" in words(tmp_path, "lamps")


def test_a_spot_without_calibration_gives_no_verdict(tmp_path):
    since(room(tmp_path, calibrated=False), 14, lambda number: 2.0)
    assert "verdict     none: no level of UVI is known here" in words(tmp_path, "lamps")


def test_a_lamp_that_lights_no_spot_is_shown_as_that(tmp_path):
    config = room(tmp_path, more='\n[lamp.spare]\nkind = "t8"\ninstalled = 2025-01-18\ndistance_cm = 20.0\n')
    since(config, 3, lambda number: 2.0)
    assert "no verdict    no spot is lit by it" in words(tmp_path, "lamps", "spare")


def test_a_new_lamp_begins_its_burn_in_anew(config, tmp_path):
    since(config, 60, lambda number: 2.0)
    text = words(
        tmp_path, "lamp", "changed", "tube", "--what", "lamp", "--on", "2025-03-14", "--note", "a new tube"
    )
    assert text.startswith("Noted: change 1 of tube, 14 March 2025, a new lamp (a new tube).\n")
    assert "under [lamp.tube], see that these are still right: installed, kind." in text
    assert "Switch the lamp off at its plug, let it cool" in text
    shown = words(tmp_path, "lamps")
    assert "since         14 March 2025\n" in shown
    assert "verdict     none yet: burning in, 50 of 100 h" in shown
    assert "change 1      14 March 2025, a new lamp (a new tube)" in shown
    assert "begin anew with the whole of that day, as its time is not known." in " ".join(text.split())


def test_a_new_lamp_of_which_the_time_is_given_begins_at_that_time(config, tmp_path):
    since(config, 60, lambda number: 2.0)
    text = words(tmp_path, "lamp", "changed", "tube", "--what", "lamp", "--on", "2025-03-14T13:00")
    assert text.startswith("Noted: change 1 of tube, 14 March 2025 at 13:00, a new lamp.\n")
    assert "burn-in of 100 h begin anew at 13:00." in " ".join(text.split())
    shown = words(tmp_path, "lamps")
    assert "since         14 March 2025 at 13:00\n" in shown
    assert "verdict     none yet: burning in, 45 of 100 h" in shown
    (change,) = json.loads(words(tmp_path, "lamps", "--json"))["lamps"][0]["changes"]
    assert (change["date"], change["time"]) == ("2025-03-14", "13:00")
    text = words(tmp_path, "lamp", "changed", "tube", "--what", "mesh", "--on", "2025-03-15 12:00")
    assert "its level is judged from 12:00 on." in " ".join(text.split())
    shown = words(tmp_path, "lamps")
    assert "since         14 March 2025 at 13:00; as it is now since 15 March 2025 at 12:00\n" in shown


def test_of_a_day_on_which_a_lamp_was_changed_its_hours_are_told(config, tmp_path):
    since(config, 60, lambda number: 2.0)
    words(tmp_path, "lamp", "changed", "tube", "--what", "mesh", "--on", "2025-03-18T13:00")
    assert "verdict     none yet: no whole day was seen since it was changed" in words(tmp_path, "lamps")
    words(tmp_path, "lamp", "changed", "tube", "--what", "lamp", "--on", "2025-03-18T14:00")
    shown = words(tmp_path, "lamps")
    assert "burned        about 4 h\n" in shown
    assert "verdict     none yet: burning in, 4 of 100 h" in shown


def test_another_distance_begins_a_new_baseline_and_keeps_the_hours(config, tmp_path):
    since(config, 60, lambda number: 2.0 if number < 45 else 1.4)
    words(tmp_path, "lamp", "changed", "tube", "--what", "distance", "--on", "2025-03-04")
    shown = words(tmp_path, "lamps")
    assert "since         18 January 2025; as it is now since 4 March 2025" in shown
    assert "about 601 h" in shown
    assert "step" not in shown
    assert "verdict     steady" in shown


@pytest.mark.parametrize(
    ("what", "keys"), [("distance", "distance_cm"), ("mesh", "between"), ("place", "distance_cm, between")]
)
def test_it_is_said_which_keys_may_no_longer_be_right(config, tmp_path, what, keys):
    since(config, 1, lambda number: 2.0)
    before = (tmp_path / "baskline.toml").read_bytes()
    assert f"still right: {keys}." in words(tmp_path, "lamp", "changed", "tube", "--what", what)
    assert (tmp_path / "baskline.toml").read_bytes() == before


def test_a_mistaken_change_is_withdrawn_and_stays_on_record(config, tmp_path):
    since(config, 30, lambda number: 2.0)
    before = words(tmp_path, "lamps")
    words(tmp_path, "lamp", "changed", "tube", "--what", "lamp", "--on", "2025-02-10")
    assert words(tmp_path, "lamps") != before
    assert "Withdrawn: change 1 of tube" in words(tmp_path, "lamp", "changed", "tube", "--withdraw", "1")
    assert words(tmp_path, "lamps") == before
    (change,) = lamp_json(tmp_path)["changes"]
    assert change["withdrawn"]
    code, said = refused(tmp_path, "tube", "--withdraw", "1")
    assert code == 1
    assert "no change 1" in said


def test_what_cannot_be_noted_is_refused_and_changes_nothing(config, tmp_path):
    since(config, 3, lambda number: 2.0)
    words(tmp_path, "lamp", "changed", "tube", "--what", "mesh", "--on", "2025-01-20")
    for given, code, said in [
        (["tub", "--what", "mesh"], 1, "Did you mean 'tube'?"),
        (["tube", "--what", "mesh", "--on", "2099-01-01"], 1, "still to come"),
        (["tube", "--what", "mesh", "--on", "2025-01-17"], 1, "it was put in on 2025-01-18"),
        (["tube", "--what", "mesh", "--on", "2025-01-20"], 1, "noted already, as change 1"),
        (["tube", "--what", "lamp", "--on", "2025-01-20T24:00"], 2, "no day with a time"),
        (["tube", "--what", "lamp", "--on", "2025-01-20T"], 2, "no day with a time"),
        (["tube", "--what", "lamp", "--on", "2025-02-30T08:30"], 2, "not a date"),
        (["tube", "--what", "mesh", "--note", "x" * 501], 1, "no line of text"),
        (["tube", "--what", "mesh", "--note", "bell\a"], 1, "no line of text"),
        (["tube", "--withdraw", "7"], 1, "it has no change 7"),
        (["tube"], 2, "give either"),
        (["tube", "--what", "moved"], 2, "none of lamp, distance, mesh, place, other"),
        (["tube", "--withdraw", "1", "--note", "oops"], 2, "by its number alone"),
    ]:
        found = refused(tmp_path, *given)
        assert found[0] == code, found
        assert said in found[1]
    with Store.open(config.bridge.store, read_only=True) as store:
        assert len(store.lamp_changes.of("tube")) == 1


def test_a_lamp_that_there_is_not_is_refused(config, tmp_path):
    since(config, 1, lambda number: 2.0)
    said = said_here("lamps", "tub", folder=tmp_path)
    assert said.code == 1
    assert "Did you mean 'tube'?" in said.err


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return demo_folder(tmp_path_factory)


def test_the_demos_lamps_fade_rise_and_stay(demo):
    lamps = {lamp["lamp"]: lamp for lamp in json.loads(words(demo, "lamps", "--json"))["lamps"]}
    assert [spot["state"] for spot in lamps["rock_lamp"]["spots"]] == ["fading", "fading"]
    assert lamps["meadow_tube"]["spots"][0]["state"] == "steady"
    assert lamps["wall_tube"]["spots"][0]["state"] == "rising"
    assert lamps["meadow_tube"]["installed"] == "2025-04-05"
    assert date.fromisoformat(lamps["rock_lamp"]["replace_by"]) > date(2025, 5, 17)


def test_lamps_have_the_documented_keys_and_types(demo):
    for document in (
        json.loads(words(demo, "lamps", "--json")),
        json.loads(example(sections()[LAMPS], "json")),
    ):
        assert departures(document, table(sections()[LAMPS])) == []


def test_each_spot_has_a_chart_named_after_it(demo, tmp_path):
    said = words(demo, "lamps", "--chart", tmp_path / "drawn.svg")
    drawn = [tmp_path / f"drawn-{spot}.svg" for spot in ("slate", "crevice", "thyme", "hay_rick", "fern")]
    assert all(str(file) in said and file.stat().st_size > 1000 for file in drawn)


def test_a_single_chart_has_the_name_that_was_given(demo, tmp_path):
    words(demo, "lamps", "wall_tube", "--chart", tmp_path / "drawn.svg")
    assert "<svg" in (tmp_path / "drawn.svg").read_text()
    said = said_here("lamps", "--chart", "drawn.gif", folder=demo)
    assert (said.code, said.out) == (2, "")


def test_a_lamp_that_lights_nothing_cannot_be_drawn(tmp_path):
    config = room(tmp_path, more='\n[lamp.spare]\nkind = "t8"\ninstalled = 2025-01-18\ndistance_cm = 20.0\n')
    since(config, 3, lambda number: 2.0)
    said = said_here("lamps", "spare", "--chart", "x.png", folder=tmp_path)
    assert (said.code, said.out) == (1, "")
    assert "nothing to draw" in said.err


def test_a_lamp_has_the_keepers_name_and_the_key_to_type(demo):
    text = words(demo, "lamps", "wall_tube")
    assert text.startswith(
        "Tube of the green wall (wall_tube): linear fluorescent, T5, 28 cm away, through mesh\n"
    )
    assert (
        json.loads(words(demo, "lamps", "wall_tube", "--json"))["lamps"][0]["label"]
        == "Tube of the green wall"
    )
