"""Where things stand on a chart: words fit, bars keep apart, the clock is right."""

from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from baskline.charts.clock_axis import clock_change, clock_ticks
from baskline.charts.frame import Frame
from baskline.charts.hatching import hatched
from baskline.charts.lanes import Span, in_lanes
from baskline.charts.text import FONT, packed, shortened, width_px
from baskline.wording import FLAG_WORDS
from exposure.days import day_bounds
from exposure.events import EventKind
from tests.baskline.pictures import ink, pixels

DAY_MS = 86_400_000


def labels(day, zone="Europe/Vienna", *, narrow=False):
    bounds = day_bounds(date.fromisoformat(day), zone)
    return [tick.label for tick in clock_ticks(bounds.start_ms, bounds.end_ms, ZoneInfo(zone), narrow=narrow)]


def drawn_width_px(words, size_px):
    vl_convert = pytest.importorskip("vl_convert")
    png = vl_convert.vegalite_to_png(
        {
            "data": {"values": [{"words": words}]},
            "mark": {"type": "text", "fontSize": size_px},
            "encoding": {"text": {"field": "words"}},
            "width": 900,
            "height": 40,
            "config": {"font": FONT, "view": {"stroke": None}},
        }
    )
    left, right, _, _ = ink(pixels(png))
    return right - left


WORDS = [
    *FLAG_WORDS.values(),
    *(f"{kind.value.replace('_', ' ')} 20:00–20:48" for kind in EventKind),
    "doubtful: calibrated under another kind of lamp, outside the calibrated temperatures",
    "dose at least 107.2 ± 13.1 UVI·h · peak 10.0 ± 0.4 at 13:39 · 100 % of the day so far seen",
    "clock time in America/Argentina/ComodRivadavia · shading: ± (k = 2, about 95 %)",
    "WWWWW MMMMM mmmmm wwwww 88888 @@@@@",
]


@pytest.mark.parametrize("words", WORDS)
def test_words_never_take_more_room_than_reckoned_and_not_much_less(words):
    drawn = drawn_width_px(words, 13)
    assert drawn <= width_px(words, 13) <= 1.5 * drawn


def test_words_that_do_not_fit_are_cut_with_an_ellipsis():
    assert shortened("short", 12, 200) == "short"
    cut = shortened("a very long label that nobody can read on a phone", 12, 120)
    assert cut.endswith("…")
    assert width_px(cut, 12) <= 120


@given(st.lists(st.text("abc ", min_size=1, max_size=20), max_size=8), st.floats(60, 400))
def test_packed_phrases_keep_their_order_and_fit(phrases, room_px):
    lines = packed(phrases, 12, room_px)
    assert all(width_px(line, 12) <= room_px for line in lines)
    said = "".join(lines).replace("·", "").replace(" ", "")
    if "…" not in said:
        assert said == "".join(phrases).replace(" ", "")


@pytest.mark.parametrize("width_px", [280, 360, 760])
def test_a_title_is_whole_at_any_width_and_pushes_the_plot_down(width_px):
    title = "Tube of the green wall seen from the crown of the old fern"
    around = {"summary": [], "caption": [], "left_px": 40, "right_px": 90, "height_px": 200}
    whole, short = (Frame.of(width_px, title=each, **around) for each in (title, "Tube"))
    assert " ".join(whole.title) == title
    assert (whole.top_px > short.top_px) == (len(whole.title) > 1) == (width_px < 500)


def test_a_phrase_too_long_for_a_line_is_broken_between_its_words():
    lines = packed(["a phrase that is far too long for one line of this room", "short"], 12, 150)
    assert " ".join(lines) == "a phrase that is far too long for one line of this room · short"
    assert len(lines) == 3


def test_a_line_that_ends_between_two_phrases_says_so():
    lines = packed(["it had burned 379 h before this record", "the axis begins at UVI 2.4"], 12, 300)
    assert lines == ["it had burned 379 h before this record ·", "the axis begins at UVI 2.4"]


spans = st.lists(
    st.builds(
        Span,
        start_ms=st.integers(-DAY_MS // 4, DAY_MS),
        end_ms=st.integers(0, 2 * DAY_MS),
        words=st.text("abcdefgh ", min_size=1, max_size=60),
        look=st.sampled_from(["now", "today", "note", "doubtful"]),
    ).map(lambda span: Span(span.start_ms, max(span.start_ms, span.end_ms), span.words, span.look)),
    max_size=25,
)


@given(spans, st.floats(200, 900))
def test_bars_and_words_keep_apart_and_stay_in_their_room(drawn, room_px):
    lanes = in_lanes(drawn, 0, DAY_MS, room_px=room_px, size_px=12, most=5)
    assert len(lanes.placed) + lanes.n_left_out == len(drawn)
    assert lanes.n_lanes <= 5
    boxes = {}
    for each in lanes.placed:
        right = max(each.right_px, each.words_px + width_px(each.words, 12))
        assert 0 <= each.words_px <= each.left_px < each.right_px
        assert right <= room_px + 1e-6
        boxes.setdefault(each.lane, []).append((each.words_px, right))
    for lane in boxes.values():
        lane.sort()
        assert all(one[1] < other[0] for one, other in pairwise(lane))


def test_where_there_are_too_many_the_lesser_are_left_out():
    many = [Span(0, DAY_MS, f"note {n}", "note") for n in range(5)] + [Span(0, DAY_MS, "ceiling", "now")]
    lanes = in_lanes(many, 0, DAY_MS, room_px=600, size_px=12, most=3)
    assert [each.span.words for each in lanes.placed] == ["ceiling", "note 0", "note 1"]
    assert lanes.n_left_out == 3


def test_a_usual_day_runs_from_00_00_to_24_00():
    assert labels("2025-05-17") == [f"{hour:02}:00" for hour in range(0, 25, 3)]
    assert labels("2025-05-17", narrow=True) == ["00:00", "06:00", "12:00", "18:00", "24:00"]


def test_in_spring_the_hour_that_is_left_out_is_missing_on_the_axis():
    hours = [f"{hour:02}" for hour in range(25)]
    hours.remove("02")
    assert labels("2025-03-30") == hours
    assert labels("2025-03-30", narrow=True) == ["00:00", "06:00", "12:00", "18:00", "24:00"]


def test_in_autumn_the_hour_that_comes_twice_stands_twice_on_the_axis():
    hours = [f"{hour:02}" for hour in range(25)]
    hours.insert(2, "02")
    assert labels("2025-10-26") == hours
    assert labels("2025-10-26", narrow=True) == ["00:00", "06:00", "12:00", "18:00", "24:00"]


def test_where_clocks_change_by_half_an_hour_labels_stay_on_full_hours():
    # Lord Howe Island sets its clocks by 30 minutes: on 2025-04-06 from 02:00 back to 01:30.
    zone = ZoneInfo("Australia/Lord_Howe")
    bounds = day_bounds(date(2025, 4, 6), zone.key)
    ticks = clock_ticks(bounds.start_ms, bounds.end_ms, zone, narrow=False)
    assert [tick.label for tick in ticks] == [f"{hour:02}" for hour in range(25)]
    assert [tick.hour for tick in ticks][1:3] == [1.0, 2.5]
    change = clock_change(bounds.start_ms, bounds.end_ms, zone)
    assert change is not None
    assert change.words == "clocks go from 02:00 to 01:30"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        ("2025-03-30", "clocks go from 02:00 to 03:00"),
        ("2025-10-26", "clocks go from 03:00 to 02:00"),
        ("2025-05-17", None),
    ],
)
def test_a_change_of_the_clocks_is_found(day, words):
    bounds = day_bounds(date.fromisoformat(day), "Europe/Vienna")
    change = clock_change(bounds.start_ms, bounds.end_ms, ZoneInfo("Europe/Vienna"))
    assert (change.words if change else None) == words


@given(st.floats(0, 500), st.floats(0, 300), st.floats(0, 100), st.floats(1, 300))
def test_hatching_stays_inside_and_rises_at_45_degrees(left, width, top, height):
    right, bottom = left + width, top + height
    for x, y, x2, y2 in hatched(left, right, top, bottom):
        assert left - 1e-6 <= x < x2 <= right + 1e-6
        assert top - 1e-6 <= y2 < y <= bottom + 1e-6
        assert x2 - x == pytest.approx(y - y2)


def test_neighbouring_hatched_areas_continue_each_other():
    strokes = [*hatched(0, 120, 20, 100), *hatched(120, 300, 20, 100)]
    feet = {round((x - (100 - y)) % 9, 6) for x, y, _, _ in strokes}  # where each would meet the bottom
    assert len(strokes) > 20
    assert feet == {0.0}
