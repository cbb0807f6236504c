"""`baskline day` on days of every sort, through a real store."""

import json
from datetime import date, timedelta

import pytest

from baskline.wording import day_lines
from exposure.days import day_bounds
from ingest.day import spot_day
from ingest.store.store import Store
from tests.baskline.making import VIENNA, baskline, fill, half_sine, room, said_here

DAY, SPRING, AUTUMN = date(2025, 5, 17), date(2025, 3, 30), date(2025, 10, 26)
HOUR_MS = 3_600_000


def day_json(folder, *words):
    said = said_here("day", "ledge", "--json", *words, folder=folder)
    assert said.code == 0, said.err
    return json.loads(said.out)


def words(folder, *more):
    said = said_here("day", "ledge", *more, folder=folder)
    assert said.code == 0, said.err
    return said.out


def line(text, name):
    return next(each for each in text.splitlines() if each.startswith(name))


def test_a_full_day(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11))
    text = words(tmp_path)
    assert text.startswith(
        "Slate ledge, Saturday 17 May 2025\nRock garden, basking spot under t5; ± is k = 2\n"
    )
    assert line(text, "wanted") == "wanted     1 to 3, never over 4"
    assert line(text, "seen") == "seen       100 % of the day"
    assert line(text, "peak") == "peak       2.5 ± 0.2 UVI at 12:30"
    assert line(text, "dose") == "dose       17.5 ± 1.6 UVI·h = 15.8 ± 1.4 SED"
    assert line(text, "light").startswith("light      07:0")
    assert line(text, "in band") == "in band    8.1 h; below 2.7 h, above 0.0 h, over the ceiling 0.0 h"
    assert "events" not in text
    assert "doubtful" not in text


def test_without_a_date_the_day_of_the_newest_reading_is_shown(tmp_path):
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.5, 7, 11), every_s=60)
    assert day_json(tmp_path)["date"] == "2025-05-17"


@pytest.mark.parametrize(("day", "hours"), [(SPRING, 23.0), (AUTUMN, 25.0)])
def test_a_day_on_which_the_clocks_change_has_its_own_length(tmp_path, day, hours):
    fill(room(tmp_path), day, half_sine(2.5, 7, 9))
    shown = day_json(tmp_path)
    assert shown["day_hours"] == hours
    assert shown["coverage"] == pytest.approx(1.0, abs=0.001)
    assert shown["gaps"] == []
    bounds = day_bounds(day, VIENNA)
    assert (bounds.end_ms - bounds.start_ms) / HOUR_MS == hours


def test_in_spring_the_hours_after_the_change_are_one_later_on_the_clock(tmp_path):
    # Light from 7 to 16 hours after midnight: the clock shows 08:00 to 17:00.
    fill(room(tmp_path), SPRING, half_sine(2.5, 7, 9), gaps_h=[(1.5, 2.5)])
    shown = day_json(tmp_path)
    assert shown["first_light"].startswith("2025-03-30T08:0")
    assert shown["last_light"].startswith("2025-03-30T16:5")
    assert shown["peak_at"] == "2025-03-30T12:30:00+02:00"
    assert shown["gaps"] == [{"from": "2025-03-30T01:29:50+01:00", "to": "2025-03-30T03:30:00+02:00"}]
    text = words(tmp_path)
    assert line(text, "peak").endswith("at 12:30")
    assert "nothing from 01:29 to 03:30" in text


def test_in_autumn_the_hour_that_comes_twice_is_told_apart_by_its_offset(tmp_path):
    fill(room(tmp_path), AUTUMN, half_sine(2.5, 7, 9), gaps_h=[(2.5, 3.5)])
    shown = day_json(tmp_path)
    assert shown["gaps"] == [{"from": "2025-10-26T02:29:50+02:00", "to": "2025-10-26T02:30:00+01:00"}]
    assert shown["peak_at"] == "2025-10-26T10:30:00+01:00"
    assert shown["coverage"] == pytest.approx(24 / 25, abs=0.001)


def test_a_day_without_readings(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), every_s=60)
    text = words(tmp_path, "--date", "2025-05-16")
    assert line(text, "no UVI") == "no UVI     no readings"
    assert "0.0" not in text  # missing is missing, never zero
    shown = day_json(tmp_path, "--date", "2025-05-16")
    assert shown["coverage"] == 0
    assert shown["dose_uvi_h"] is None
    assert shown["peak_uvi"] is None
    assert shown["hours_in_band"] is None
    assert len(shown["gaps"]) == 1


def test_a_day_of_an_uncalibrated_spot(tmp_path):
    fill(room(tmp_path, calibrated=False), DAY, half_sine(2.5, 7, 11))
    text = words(tmp_path)
    assert line(text, "no UVI") == "no UVI     not calibrated for 24.0 h; the readings are kept"
    shown = day_json(tmp_path)
    assert shown["flag_hours"] == {"uncalibrated": 24.0}
    assert shown["dose_uvi_h"] is None


def test_a_day_with_gaps_says_when_and_never_100_percent(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), gaps_h=[(3, 3.05), (9, 10.5)])
    text = words(tmp_path)
    assert line(text, "seen") == "seen       94 % of the day; nothing from 02:59 to 03:03, 08:59 to 10:30"
    fill(other := room(tmp_path / "other"), DAY, half_sine(2.5, 7, 11), gaps_h=[(3, 3.05)])
    assert line(words(other.bridge.store.parent), "seen").startswith("seen       99 % of the day; nothing")


def test_many_gaps_are_counted_rather_than_listed(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), gaps_h=[(hour, hour + 0.5) for hour in range(8)])
    assert line(words(tmp_path), "seen").endswith(" and 5 more times")


def test_readings_too_far_apart_for_a_dose_say_so(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), every_s=600)
    text = words(tmp_path)
    assert line(text, "no UVI") == "no UVI     readings more than 5 min apart; the readings are kept"


def test_a_gap_to_the_end_of_the_day_ends_at_24(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), until_h=20)
    assert line(words(tmp_path), "seen") == "seen       83 % of the day; nothing from 19:59 to 24:00"


def test_doubtful_hours_are_named(tmp_path):
    fill(room(tmp_path), DAY, half_sine(9.5, 7, 11), faults_h=[(14, 15)])
    text = words(tmp_path)
    assert "above what was calibrated for 2." in line(text, "doubtful")
    assert "sensor fault for 60 min" in line(text, "doubtful")
    assert line(text, "peak").startswith("peak       at least 9.5 ±")
    assert day_json(tmp_path)["at_least"] is True


def weeks(folder, level, *, days=10):
    """Store a week and a half in which the last day is as `level`."""
    config = room(folder)
    for back in range(days, 0, -1):
        fill(config, DAY - timedelta(days=back), half_sine(2.5, 7, 11), every_s=60, boot=f"{back:08x}")
    fill(config, DAY, level, every_s=60)
    return config


def test_a_day_is_told_beside_the_days_before_it(tmp_path):
    weeks(tmp_path, half_sine(1.0, 9, 11))
    text = words(tmp_path)
    assert line(text, "verdict").startswith("verdict    little dose, 7.0 ±")
    assert (
        line(text, "usual") == "usual      17.5 UVI·h in the 7 days before, 17.5 UVI·h in the 30 days before"
    )
    assert "peak 1.0 UVI where 2.5 UVI is usual" in line(text, "unusual")
    assert "first light at 09:" in text
    assert len(text.splitlines()) <= 20
    shown = day_json(tmp_path)
    assert shown["dose_verdict"]["state"] == "low"
    assert shown["compared"]["dose_uvi_h"]["week"] == {
        "median": pytest.approx(17.5, abs=0.1),
        "scatter": pytest.approx(0, abs=0.01),
        "days": 7,
    }


def test_a_usual_day_is_called_neither_little_nor_much(tmp_path):
    weeks(tmp_path, half_sine(2.5, 7, 11))
    text = words(tmp_path)
    assert (
        line(text, "verdict")
        == "verdict    neither little dose (under 10.5 UVI·h) nor much (over 26.3 UVI·h)"
    )
    assert "unusual" not in text


def test_without_days_before_it_the_dose_cannot_be_judged(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11))
    text = words(tmp_path)
    assert "cannot tell whether the day's dose is usual: too few days" in line(text, "verdict")
    assert "usual      " not in text
    shown = day_json(tmp_path)
    assert shown["dose_verdict"]["probability"] is None
    assert shown["compared"]["dose_uvi_h"]["month"] is None


def test_a_ceiling_that_is_only_just_kept_was_likely_passed_for_a_while(tmp_path):
    fill(room(tmp_path, ceiling_uvi=3.0), DAY, half_sine(2.97, 7, 11))
    shown = day_json(tmp_path)
    assert shown["hours_above_ceiling"] == 0
    assert shown["expected_hours_above_ceiling"] > 0.2
    said = line(words(tmp_path), "in band")
    assert "over the ceiling 0.0 h (with the ± counted in, rather" in said


def test_what_is_still_to_come_is_not_missed(tmp_path):
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.5, 7, 11), until_h=15)
    with Store.open(config.bridge.store, read_only=True) as store:
        spot = config.spots["ledge"]
        shown = spot_day(store, "ledge", DAY, board="rock-1", time_zone=VIENNA, band_now=spot.band())
    start_ms = day_bounds(DAY, VIENNA).start_ms
    at_15 = "\n".join(day_lines(shown, config, start_ms + 15 * HOUR_MS))
    at_16 = "\n".join(day_lines(shown, config, start_ms + 16 * HOUR_MS))
    assert line(at_15, "seen") == "seen       100 % of the day so far"
    assert line(at_16, "seen") == "seen       94 % of the day so far; nothing from 14:59 to 16:00"


def test_printing_twice_gives_the_same_bytes(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11))
    first = baskline("day", "ledge", "--json", folder=tmp_path)
    assert first == baskline("day", "ledge", "--json", folder=tmp_path)


def test_a_chart_goes_with_words_with_json_and_with_csv(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), every_s=60)
    assert words(tmp_path, "--chart", "a.svg").endswith("\n\nDrawn: a.svg\n")
    assert day_json(tmp_path, "--chart", "b.svg")["spot"] == "ledge"
    said = said_here("day", "ledge", "--csv", "--chart", "c.svg", folder=tmp_path)
    assert said.out.startswith("time_utc,")
    assert "Drawn" not in said.out
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "c.svg").read_bytes()
    assert (tmp_path / "b.svg").exists()
