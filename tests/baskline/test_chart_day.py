"""The chart of a day: what it shows of days of every sort, on a desktop and on a phone."""

import functools
import json
from dataclasses import astuple
from datetime import date

import pytest

from baskline.charts.day import day_spec
from baskline.charts.drawing import drawing_of
from baskline.charts.palette import DARK, LIGHT
from exposure.days import HOUR_MS, day_bounds
from exposure.events import Event, EventKind, Severity
from ingest.day import spot_day
from ingest.store.store import Store
from tests.baskline.making import VIENNA, fill, half_sine, room
from tests.baskline.pictures import ink, pixels, words_of

vl_convert = pytest.importorskip("vl_convert")

DAY, SPRING, AUTUMN = date(2025, 5, 17), date(2025, 3, 30), date(2025, 10, 26)
MIDNIGHT_MS = day_bounds(DAY, VIENNA).start_ms
WIDTHS = [760, 360]


def drawn(config, day=DAY, *, events=(), now_h=48.0):
    with Store.open(config.bridge.store) as store:
        for event in events:
            store.events.put(event)
        band = config.spots["ledge"].band()
        shown = spot_day(store, "ledge", day, board="rock-1", time_zone=VIENNA, band_now=band)
    return drawing_of(shown, config, shown.bounds.start_ms + round(now_h * HOUR_MS))


def event(kind, severity, opened_h, closed_h, *, board=False):
    opened_ms = MIDNIGHT_MS + round(opened_h * HOUR_MS)
    return Event(
        identity=f"{kind}.{opened_ms}",
        kind=kind,
        subject_kind="board" if board else "spot",
        subject="rock-1" if board else "ledge",
        severity=severity,
        opened_ms=opened_ms,
        sentence="words",
        advice="more words",
        closed_ms=None if closed_h is None else MIDNIGHT_MS + round(closed_h * HOUR_MS),
    )


MANY = [
    *(event(EventKind.OVER_CEILING, Severity.NOW, 9 + n, 9.4 + n) for n in range(6)),
    event(EventKind.BOARD_SILENT, Severity.TODAY, 12.5, 13.5, board=True),
    event(EventKind.UNDER_BAND, Severity.TODAY, -5, 8),
    event(EventKind.OVER_CEILING, Severity.NOW, 23.5, None),
    event(EventKind.BACK_IN_BAND, Severity.NOTE, 8, 8),
]


@pytest.fixture(scope="module")
def gallery(tmp_path_factory):
    """Days of every sort, by name."""
    folder = tmp_path_factory.mktemp("gallery")

    def a_room(name, **more):
        return room(folder / name, **more)

    def of(config, *arguments, day=DAY, events=(), now_h=48.0, **more):
        fill(config, day, *arguments, every_s=30, **more)
        return drawn(config, day, events=events, now_h=now_h)

    sun = half_sine(2.5, 7, 11)
    return {
        "plain": of(a_room("plain"), sun),
        "gaps": of(a_room("gaps"), sun, gaps_h=[(9, 9.2), (13, 15.5)]),
        "doubtful": of(a_room("doubtful"), half_sine(11, 7, 11), faults_h=[(14, 16)]),
        "stale": of(a_room("stale", valid_for_days=10), sun),
        "uncalibrated": of(a_room("uncalibrated", calibrated=False), sun),
        "today": of(a_room("today"), sun, until_h=13, now_h=15),
        "many events": of(a_room("many"), half_sine(5, 7, 11), events=MANY),
        "spring": of(a_room("spring"), sun, day=SPRING),
        "autumn": of(a_room("autumn"), sun, day=AUTUMN),
        "far ceiling": of(a_room("ceiling", ceiling_uvi=12.0), sun),
        "empty": drawn(a_room("gaps"), date(2025, 5, 18)),
    }


SORTS = [
    "plain",
    "gaps",
    "doubtful",
    "stale",
    "uncalibrated",
    "today",
    "many events",
    "spring",
    "autumn",
    "far ceiling",
    "empty",
]


@pytest.fixture(scope="module")
def spec_of(gallery):
    """The specification of a day of some sort, each made once."""
    return functools.cache(lambda sort, width_px=760: day_spec(gallery[sort], total_width_px=width_px))


@pytest.fixture(scope="module")
def said_of(spec_of):
    """The words in the chart of a day of some sort, each drawn once."""
    return functools.cache(lambda *what: words_in(spec_of(*what)))


def words_in(spec):
    return words_of(vl_convert.vegalite_to_svg(spec))


def test_the_gallery_is_whole(gallery):
    assert list(gallery) == SORTS


@pytest.mark.parametrize("width_px", WIDTHS)
@pytest.mark.parametrize("sort", SORTS)
def test_nothing_runs_out_of_the_picture(spec_of, sort, width_px):
    picture = pixels(vl_convert.vegalite_to_png(spec_of(sort, width_px), scale=1))
    height, width = picture.shape
    left, right, top, bottom = ink(picture)
    assert width == width_px
    assert 4 <= left < right <= width - 4
    assert 4 <= top < bottom <= height - 4


@pytest.mark.parametrize("width_px", WIDTHS)
@pytest.mark.parametrize("sort", SORTS)
def test_the_chart_says_what_where_when_and_how_sure(said_of, sort, width_px):
    said = " ".join(said_of(sort, width_px))
    assert "Slate ledge, " in said
    assert "2025" in said
    assert "UVI" in said
    assert "band 1 to 3" in said
    assert "ceiling " in said
    assert "clock time in Europe/Vienna" in said
    assert ("shading: ± (k = 2, about 95 %)" in said) == (sort not in ("uncalibrated", "empty"))


def test_a_day_that_was_not_seen_says_so_instead_of_failing(said_of):
    assert "no readings" in said_of("empty")
    assert "hatched: no UVI (no readings)" in " ".join(said_of("empty"))
    assert "not calibrated" in said_of("uncalibrated")


def test_no_line_is_drawn_across_a_gap(spec_of):
    rows = spec_of("gaps")["datasets"]["curve"]
    inside = [row for row in rows if 9 < row["hour"] < 9.18 or 13 < row["hour"] < 15.48]
    assert inside == []
    parts = [row["part"] for row in rows]
    assert sorted(set(parts)) == [1, 2, 3]
    assert {row["part"] for row in rows if row["hour"] < 9} == {1}
    assert {row["part"] for row in rows if row["hour"] > 15.5} == {3}


def test_gaps_are_hatched_where_they_are(spec_of):
    holes = spec_of("gaps")["datasets"]["holes"]
    edges = [edge for row in holes for edge in (row["hour"], row["until"])]
    assert edges == pytest.approx([9, 9.2, 13, 15.5], abs=0.02)
    assert spec_of("plain")["datasets"].keys() & {"holes", "hatching"} == set()


def test_what_is_still_to_come_is_not_hatched(spec_of):
    (hole,) = spec_of("today")["datasets"]["holes"]
    assert (hole["hour"], hole["until"]) == (pytest.approx(13, abs=0.02), pytest.approx(15, abs=0.02))


def test_doubtful_samples_are_dashed_paler_and_named(spec_of, said_of):
    spec = spec_of("doubtful")
    doubtful = spec["datasets"]["doubtful_curve"]
    assert min(row["uvi"] for row in doubtful) > 8.9  # what was calibrated ends at 9
    assert max(row["uvi"] for row in spec["datasets"]["curve"]) < 9.1
    marks = [layer["mark"] for layer in spec["layer"] if layer["data"]["name"] == "doubtful_curve"]
    assert [mark["type"] for mark in marks] == ["area", "line"]
    assert marks[1]["strokeDash"] == [4, 3]
    said = said_of("doubtful")
    assert "doubtful: sensor at its limit, above what was calibrated" in said
    assert any("dashed: doubtful" in each for each in said)
    assert any("hatched: no UVI (sensor fault)" in each for each in said)


def test_a_day_that_is_doubtful_from_end_to_end_is_one_piece(spec_of, said_of):
    spec = spec_of("stale")
    assert "curve" not in spec["datasets"]
    assert {row["part"] for row in spec["datasets"]["doubtful_curve"]} == {1}
    assert "doubtful: calibration too old" in said_of("stale")


def test_where_doubt_begins_the_line_does_not_break(spec_of):
    datasets = spec_of("doubtful")["datasets"]
    first_doubtful = datasets["doubtful_curve"][0]["hour"]
    assert first_doubtful in [row["hour"] for row in datasets["curve"]]


def test_events_stand_with_their_times_and_the_open_one_with_its_begin(said_of):
    said = said_of("many events")
    assert "over the ceiling 09:00–09:24" in said
    assert "over the ceiling from 23:30" in said
    assert not any(each.startswith("back in band") for each in said)  # the end of a bar says that


def test_events_that_found_no_room_are_counted(said_of):
    said = " ".join(said_of("many events", 360))
    n_drawn = said.count("over the ceiling") // 2 + said.count("under the band") // 2  # each with its edge
    n_events = len(MANY) - 1
    assert f"{n_events - n_drawn} more events not drawn" in said


def test_an_event_from_the_day_before_says_only_its_end(tmp_path):
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.5, 7, 11), every_s=60)
    events = [MANY[7], event(EventKind.UNDER_BAND, Severity.TODAY, -1, 30)]
    said = words_in(day_spec(drawn(config, events=events)))
    assert "under the band until 08:00" in said
    assert "under the band" in said  # all day long


def test_a_ceiling_far_above_is_named_but_does_not_press_the_curve_flat(spec_of, said_of):
    spec = spec_of("far ceiling")
    assert "ceiling 12 ↑" in said_of("far ceiling")
    assert "ceiling" not in spec["datasets"]
    assert "ceiling 4" in said_of("plain")
    assert spec_of("plain")["datasets"]["ceiling"][0]["uvi"] == 4.0


@pytest.mark.parametrize(("sort", "twos"), [("plain", 0), ("spring", 0), ("autumn", 2)])
def test_the_clock_on_the_axis_is_the_keepers(said_of, sort, twos):
    said = said_of(sort)
    if sort == "plain":
        assert [each for each in said if each.endswith(":00")] == [f"{h:02}:00" for h in range(0, 25, 3)]
    else:
        hours = [each for each in said if len(each) == 2 and each.isdigit()]
        assert hours.count("02") == twos
        assert (hours[0], hours[-1]) == ("00", "24")


def test_a_change_of_the_clocks_is_said(said_of):
    assert "clocks go from 02:00 to 03:00" in said_of("spring")
    assert "clocks go from 03:00 to 02:00" in said_of("autumn")


def test_the_same_day_gives_the_same_specification(gallery):
    assert day_spec(gallery["many events"]) == day_spec(gallery["many events"])


def test_on_a_dark_page_only_colours_differ(gallery):
    def without_colours(spec):
        text = json.dumps(spec)
        for light, dark in zip(astuple(LIGHT), astuple(DARK), strict=True):
            text = text.replace(light, "").replace(dark, "")
        return text

    light, dark = (day_spec(gallery["many events"], dark=dark) for dark in (False, True))
    assert light["background"] == LIGHT.paper
    assert dark["background"] == DARK.paper
    assert without_colours(light) == without_colours(dark)


def test_who_cannot_see_it_is_told_what_it_shows(spec_of):
    told = spec_of("gaps")["description"]
    assert told.startswith("Slate ledge, Saturday 17 May 2025: dose ")
    assert "band 1 to 3, ceiling 4" in told
    assert "no UVI from 12:59 to 15:30: no readings" in told
    assert "over the ceiling 09:00–09:24" in spec_of("many events")["description"]
