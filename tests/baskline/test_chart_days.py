"""The chart of a spot's last days: doses with their intervals, hours where they lay, gaps as gaps."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from baskline.charts.days import DaysDrawing, days_drawing, days_spec
from exposure.usual import Usual
from ingest.config import load_config
from ingest.day_records import DayRecords
from ingest.store.store import Store
from tests.baskline.invented import keeps_to_its_sheet, past_room
from tests.baskline.pictures import words_of

vl_convert = pytest.importorskip("vl_convert")

FRIDAY = date(2025, 5, 16)
SORTS = ["usual week", "board away", "power cut", "month", "never calibrated", "over the ceiling", "nothing"]


@pytest.fixture(scope="module")
def gallery(tmp_path_factory):
    config = load_config(past_room(tmp_path_factory).config_file)
    with Store.open(config.bridge.store) as store:
        records = DayRecords(store, config)

        def of(spot, last, days=7):
            found = records.of(spot, last - timedelta(days=days + 30), last)
            return days_drawing(config.spots[spot].label, found, last, days=days)

        week = of("fern", FRIDAY)
        *others, last = week.profiles
        hot = replace(last, hours_in_band=8.0, hours_above_band=3.0, hours_above_ceiling=2.9)
        return {
            "usual week": week,
            "board away": of("slate", date(2025, 4, 18)),
            "power cut": of("thyme", date(2025, 5, 9)),
            "month": of("thyme", FRIDAY, days=30),
            "never calibrated": of("hay_rick", FRIDAY),
            "over the ceiling": replace(week, profiles=[*others, hot], today=FRIDAY),
            "nothing": DaysDrawing("Slate ledge", FRIDAY - timedelta(days=6), FRIDAY, [], None),
        }


def words(drawing, **more):
    return words_of(vl_convert.vegalite_to_svg(days_spec(drawing, **more)))


def rows(drawing, name):
    return days_spec(drawing)["datasets"].get(name, [])


@pytest.mark.parametrize(("width_px", "dark"), [(760, False), (360, True)])
@pytest.mark.parametrize("sort", SORTS)
def test_it_keeps_to_its_sheet(gallery, sort, width_px, dark):
    keeps_to_its_sheet(lambda **how: days_spec(gallery[sort], **how), width_px, dark=dark)


def test_the_gallery_is_whole(gallery):
    assert list(gallery) == SORTS


def test_each_day_has_its_dose_with_its_interval(gallery):
    bars = rows(gallery["usual week"], "doses")
    assert [bar["day"] for bar in bars] == [f"2025-05-{day}" for day in range(10, 17)]
    for bar, profile, line in zip(
        bars,
        gallery["usual week"].profiles,
        rows(gallery["usual week"], "dose_intervals"),
        strict=True,
    ):
        assert bar["dose_uvi_h"] == pytest.approx(profile.dose_uvi_h, abs=1e-4)
        px_per_uvi_h = (bar["y2"] - bar["y"]) / bar["dose_uvi_h"]
        half_uvi_h = (line["y2"] - line["y"]) / 2 / px_per_uvi_h
        assert half_uvi_h == pytest.approx(2 * profile.u_dose_uvi_h, rel=0.01)


def test_what_is_usual_stands_beside_the_doses(gallery):
    week = replace(gallery["usual week"], usual=Usual(20.0, 0.7, 30))
    (usual,) = rows(week, "usual")
    assert (usual["low_uvi_h"], usual["high_uvi_h"]) == (18.6, 21.4)
    assert "19 to 21" in words(week)
    assert "usual" not in words(replace(week, usual=None))


def test_hours_lie_in_their_rows_and_say_how_many(gallery):
    hours = {(row["day"], row["where"]): row["hours"] for row in rows(gallery["over the ceiling"], "hours")}
    assert hours["2025-05-16", "over ceiling"] == 2.9
    assert hours["2025-05-16", "above band"] == 3.0
    assert hours["2025-05-16", "in band"] == 8.0
    assert ("2025-05-15", "over ceiling") not in hours
    said = words(gallery["over the ceiling"])
    assert {"2.9", "3.0", "8.0", "over ceiling", "above band", "in band", "below band", "today"} <= set(said)
    assert said.count("0") > 6  # a day without such hours says so, unlike one that was not seen
    assert any("2.9 h over the ceiling" in each for each in said)


def test_a_day_without_a_board_is_hatched_and_has_no_bar(gallery):
    away = gallery["board away"]
    assert "2025-04-14" not in {bar["day"] for bar in rows(away, "doses")}
    said = words(away)
    assert "not seen" in said
    assert any("hatched: that part of the day was not seen" in each for each in said)
    assert "14 Apr: not known" in days_spec(away)["description"]


def test_a_dose_of_a_day_seen_in_part_is_said_to_be_at_least_that(gallery):
    said = words(gallery["power cut"])
    assert len({each for each in said if each.startswith("≥ ")}) == 1
    (box,) = rows(gallery["power cut"], "unseen")
    day_px = days_spec(gallery["power cut"])["width"] / 7
    assert (box["x2"] - box["x"]) / day_px == pytest.approx(85 / 1440, abs=0.03)


def test_a_spot_without_a_calibration_has_no_uvi_and_says_so(gallery):
    said = words(gallery["never calibrated"])
    assert "no UVI on any of these days" in said
    assert rows(gallery["never calibrated"], "doses") == []


def test_a_month_has_no_words_in_its_columns_but_all_its_bars(gallery):
    assert len(rows(gallery["month"], "doses")) == 30
    assert rows(gallery["month"], "dose_words") == []
    assert {"21", "Apr", "12", "May"} <= set(words(gallery["month"]))
