"""Lamps on the page: what is said of each, and noting what was changed."""

import pytest
from playwright.sync_api import expect

from tests.baskline.page.rooms import PageRoom, PastRoom


def test_a_change_is_noted_and_withdrawn(room: PageRoom, serve, open_page) -> None:
    page = open_page(f"{serve(room).url}/lamps", width=360).page
    page.get_by_text("Note a change of tube").click()
    expect(page.locator("details .caution")).to_contain_text("Switch the lamp off at its plug")
    page.get_by_label("What was changed").select_option("distance")
    page.get_by_label("A line to remember it by").fill("5 cm higher")
    page.get_by_role("button", name="Note it").click()
    told = page.get_by_role("status")
    expect(told).to_contain_text("another distance (5 cm higher)")
    expect(told).to_contain_text("In baskline.toml, under [lamp.tube], see that these are still right")
    expect(told).to_contain_text("distance_cm")
    (change,) = room.store.lamp_changes.of("tube")
    assert (change.what, change.note, change.withdrawn) == ("distance", "5 cm higher", False)
    assert change.moment is not None  # noted today: now
    expect(told).to_contain_text(f"its level is judged from {change.moment.clock} on")
    page.get_by_role("button", name="Withdraw").click()
    expect(page.get_by_role("status")).to_contain_text("Withdrawn")
    (change,) = room.store.lamp_changes.of("tube")
    assert change.withdrawn


def test_a_change_of_an_earlier_day_has_the_time_that_was_given_or_none(room: PageRoom, visit) -> None:
    here = visit(room)
    for what, clock in (("lamp", "08:30"), ("mesh", "")):
        answer = here.submit("/lamps/tube/changes", page="/lamps", what=what, day="2026-05-28", clock=clock)
        assert answer.status_code < 400
    mesh, lamp = room.store.lamp_changes.of("tube")
    assert lamp.moment is not None
    assert (lamp.moment.clock, mesh.moment) == ("08:30", None)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"what": "lamp", "day": "2099-01-01"}, "is still to come"),
        ({"what": "lamp", "day": "2020-01-01"}, "it was put in on 2026-01-18"),
        ({"what": "lamp", "day": "x"}, "is no day"),
        ({"what": "lamp", "day": "2026-05-28", "clock": "25:00"}, "is no time of a day"),
        ({"what": "lamp", "day": "2026-05-28", "clock": "08:30+02:00"}, "is no time of a day"),
        ({"what": "colour"}, "it was not said what was changed"),
        ({}, "it was not said what was changed"),
        ({"what": "mesh", "note": "a\tb\x07"}, "the note is no line of text"),
    ],
)
def test_what_cannot_be_noted_is_refused_in_words_and_what_was_typed_stays(
    room: PageRoom, visit, fields, why
) -> None:
    answer = visit(room).submit("/lamps/tube/changes", page="/lamps", **fields)
    assert answer.status_code == 422
    assert "Nothing was noted" in answer.text
    assert why in answer.text
    assert room.store.lamp_changes.of("tube") == []
    if fields.get("what") == "lamp":
        assert '<option value="lamp" selected>' in answer.text


def test_a_lamp_or_a_change_that_is_not_there_is_said_to_be(room: PageRoom, visit) -> None:
    visitor = visit(room)
    assert visitor.submit("/lamps/tub/changes", page="/lamps", what="mesh").status_code == 404
    for number, status in (("7", 409), ("x", 422), ("", 422)):
        answer = visitor.submit("/lamps/tube/withdrawn", page="/lamps", change=number)
        assert answer.status_code == status, number


def test_each_lamp_has_its_hours_its_trend_and_its_end(past_room: PastRoom, visit) -> None:
    text = visit(past_room).get("/lamps").text
    for words in ("seen to come on", "% a week", "replace by", "July 2025", "A new lamp", "At "):
        assert words in text, words


def test_a_page_that_is_only_for_looking_has_no_form_and_refuses(room: PageRoom, visit) -> None:
    looking = visit(room, may_change=False)
    assert "<form" not in looking.get("/lamps").text
    answer = looking.post(
        "/lamps/tube/changes", data={"form_word": looking.word_of_session(), "what": "mesh"}
    )
    assert answer.status_code == 403
    assert "only for looking" in answer.text
    assert room.store.lamp_changes.of("tube") == []
