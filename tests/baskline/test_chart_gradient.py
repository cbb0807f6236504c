"""The chart of an enclosure's gradient: its spots on one scale, named, told apart without colour."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from baskline.charts.gradient import gradient_drawing, gradient_spec
from exposure.days import day_bounds
from exposure.gradient import gradient
from ingest.config import load_config
from ingest.day import spot_day
from ingest.store.store import Store
from tests.baskline.invented import keeps_to_its_sheet, past_room
from tests.baskline.making import VIENNA
from tests.baskline.pictures import words_of

vl_convert = pytest.importorskip("vl_convert")

SORTS = ["rock garden", "dry meadow", "power cut", "five alike", "nothing"]
FRIDAY, CUT, AWAY = date(2025, 5, 16), date(2025, 5, 6), date(2025, 4, 14)


@pytest.fixture(scope="module")
def gallery(tmp_path_factory):
    config = load_config(past_room(tmp_path_factory).config_file)
    with Store.open(config.bridge.store) as store:

        def of(enclosure, day):
            days = [
                spot_day(
                    store,
                    key,
                    day,
                    board=config.boards[spot.board].identity,
                    time_zone=VIENNA,
                    band_now=spot.band(),
                )
                for key, spot in config.spots.items()
                if spot.enclosure == enclosure
            ]
            label = config.enclosures[enclosure].label
            return gradient_drawing(label, days, config, day_bounds(day, VIENNA).end_ms)

        rock = of("rock_garden", FRIDAY)
        slate = rock.spots[0]
        alike = [replace(slate, key=f"s{n}", label=f"Ledge {n}") for n in range(5)]
        profile = spot_day(
            store,
            "slate",
            FRIDAY,
            board="stone-1",
            time_zone=VIENNA,
            band_now=config.spots["slate"].band(),
        ).profile
        return {
            "rock garden": rock,
            "dry meadow": of("dry_meadow", FRIDAY),
            "power cut": of("rock_garden", CUT),
            "five alike": replace(
                rock, spots=alike, gradient=gradient({spot.key: profile for spot in alike})
            ),
            "nothing": of("rock_garden", AWAY),
        }


def words(drawing, **more):
    return words_of(vl_convert.vegalite_to_svg(gradient_spec(drawing, **more)))


def rows(drawing, name):
    return gradient_spec(drawing)["datasets"].get(name, [])


@pytest.mark.parametrize(("width_px", "dark"), [(760, False), (360, True)])
@pytest.mark.parametrize("sort", SORTS)
def test_it_keeps_to_its_sheet(gallery, sort, width_px, dark):
    keeps_to_its_sheet(lambda **how: gradient_spec(gallery[sort], **how), width_px, dark=dark)


def test_spots_are_named_with_their_means_from_the_strongest_to_the_weakest(gallery):
    names = rows(gallery["rock garden"], "spot_names")
    assert [row["words"] for row in names] == ["Slate ledge", "mean 3.2", "Crevice", "mean 0.3"]
    assert [row["y"] for row in names] == sorted(row["y"] for row in names)


def test_lines_are_told_apart_by_their_strokes(gallery):
    spec = gradient_spec(gallery["rock garden"])
    dashes = [
        tuple(layer["mark"]["strokeDash"])
        for layer in spec["layer"]
        if layer["mark"]["type"] == "line" and layer["data"]["name"] in ("slate", "crevice")
    ]
    assert len(set(dashes)) == 2


def test_it_says_whether_there_is_a_retreat(gallery):
    said = " ".join(words(gallery["rock garden"]))
    assert "Crevice is a retreat" in said
    assert "at most 0.7" in said


def test_a_spot_without_uvi_is_named_with_its_reason(gallery):
    said = words(gallery["dry meadow"])
    assert any("not shown: Hay rick (not calibrated" in each for each in said)
    assert "hay_rick" not in gradient_spec(gallery["dry meadow"])["datasets"]


def test_no_line_crosses_a_gap(gallery):
    hours = [(row["part"], row["hour"]) for row in rows(gallery["power cut"], "slate")]
    assert not any(13.75 < hour < 15.05 for _, hour in hours)
    assert {part for part, hour in hours if hour < 13.6} == {1}
    assert 1 not in {part for part, hour in hours if hour > 15.1}


def test_names_of_spots_that_give_the_same_keep_apart(gallery):
    heights = [row["y"] for row in rows(gallery["five alike"], "spot_names")]
    assert np.diff(sorted(heights)).min() >= 12


def test_a_day_of_which_nothing_was_seen_says_so(gallery):
    said = " ".join(words(gallery["nothing"]))
    assert "no spot was seen for long enough to tell" in said
    assert "not shown: Slate ledge (no readings)" in said
