"""Events on the page: gravest first, answered with wet hands, and past ones page by page."""

import re

import pytest
from playwright.sync_api import expect

from baskline.page.events import PAGE
from exposure.events import EventKind
from exposure.kinds import new_event
from tests.baskline.page.conftest import GUEST
from tests.baskline.page.rooms import PageRoom


def test_one_event_is_acknowledged_and_another_closed(room: PageRoom, serve, open_page) -> None:
    grave = room.happen(EventKind.OVER_CEILING, "fern", "3.6 ± 0.2 over the ceiling 3.0 (k = 2)")
    other = room.happen(EventKind.UNDER_BAND, "moss", "0.4 ± 0.1 under the band (k = 2)")
    page = open_page(f"{serve(room).url}/events", width=360).page
    first = page.locator(".event").first
    expect(first).to_contain_text("Now: over the ceiling")
    expect(first).to_contain_text("Unplug the lamp before touching it")
    expect(page.locator("main .caution")).to_contain_text("Before you reach in")
    first.get_by_role("button", name=re.compile("I have seen it.*over the ceiling, Fern crown")).click()
    expect(page.get_by_role("status")).to_contain_text("Noted that you have seen it")
    expect(page.locator(".event").first).to_contain_text("seen 14:02")
    expect(page.get_by_role("button", name=re.compile("I have seen it.*over the ceiling"))).to_have_count(0)
    page.get_by_role("button", name=re.compile("Close it.*under the band, Moss pad")).click()
    expect(page.get_by_role("status")).to_contain_text("Closed.")
    expect(page.locator("section:has(#over)")).to_contain_text("0.4 ± 0.1 under the band")
    assert room.store.events.get(grave.identity).acknowledged_ms == room.now_ms
    assert room.store.events.get(grave.identity).is_open
    assert room.store.events.get(other.identity).closing == "by hand"


def test_the_gravest_come_first_then_the_oldest(room: PageRoom, visit) -> None:
    for kind, spot in (
        (EventKind.UNDER_BAND, "moss"),
        (EventKind.OVER_CEILING, "ledge"),
        (EventKind.UNDER_BAND, "bark"),
        (EventKind.OVER_CEILING, "fern"),
    ):
        room.clock.advance_ms(1_000)
        room.happen(kind, spot, f"about {spot}.")
    shown = re.findall(r"about (\w+)\.", visit(room).get("/events").text)
    assert shown == ["ledge", "fern", "moss", "bark"]


def test_one_spot_alone_is_shown_with_its_board(room: PageRoom, visit) -> None:
    room.happen(EventKind.UNDER_BAND, "moss", "about moss.")
    room.happen(EventKind.UNDER_BAND, "bark", "about bark.")
    silent = new_event(
        EventKind.BOARD_SILENT, "moss-1", room.now_ms, "about its board.", {}, subject_kind="board"
    )
    room.store.events.put(silent)
    text = visit(room).get("/events?spot=moss").text
    assert "about moss." in text
    assert "about its board." in text
    assert "about bark." not in text
    assert visit(room).get("/events?spot=mos").status_code == 404


def test_past_events_come_page_by_page_each_once(room: PageRoom, visit) -> None:
    for number in range(70):
        room.clock.advance_ms(1_000 if number % 3 else 0)
        event = room.happen(EventKind.UNDER_BAND, f"spot-{number:02}", f"about {number:02}.")
        room.store.events.close(event.identity, room.now_ms)
    visitor, path, seen = visit(room), "/events", []
    for _ in range(3):
        text = visitor.get(path).text
        seen += re.findall(r"about (\d\d)\.", text)
        older = re.search(r'rel="next" href="([^"]+)#over"', text)
        path = older[1].replace("&amp;", "&") if older else ""
    assert path == ""
    assert sorted(seen) == [f"{number:02}" for number in range(70)]
    assert seen[0] == "69"


@pytest.mark.parametrize("before", ["x", "1" * 17 + ".a"])
def test_a_place_that_is_none_is_refused_in_words(room: PageRoom, visit, before) -> None:
    answer = visit(room).get(f"/events?before={before}")
    assert answer.status_code == 422
    assert "no place in the list" in answer.text


@pytest.mark.parametrize("act", ["seen", "closed"])
def test_an_event_that_is_not_there_is_said_to_be(room: PageRoom, visit, act) -> None:
    room.happen(EventKind.UNDER_BAND, "moss", "about moss.")
    answer = visit(room).submit(f"/events/{act}", page="/events", identity="nonsense")
    assert answer.status_code == 404
    assert "There is no such event" in answer.text


def test_a_page_that_is_only_for_looking_shows_no_button_and_refuses(room: PageRoom, visit) -> None:
    event = room.happen(EventKind.OVER_CEILING, "fern", "3.6 ± 0.2 over the ceiling 3.0 (k = 2)")
    may, looking = visit(room), visit(room, may_change=False)
    assert 'action="/events/seen"' in may.get("/events").text
    assert 'method="post"' not in looking.get("/events").text
    looking.get("/events")
    word = looking.word_of_session()
    for act in ("seen", "closed"):
        answer = looking.post(f"/events/{act}", data={"form_word": word, "identity": event.identity})
        assert answer.status_code == 403
        assert "This page is only for looking" in answer.text
    assert room.store.events.get(event.identity) == event


def test_guests_see_events_and_cannot_answer_them(locked_room: PageRoom, visit) -> None:
    locked_room.happen(EventKind.OVER_CEILING, "fern", "3.6 ± 0.2 over the ceiling 3.0 (k = 2)")
    guest = visit(locked_room)
    guest.get(f"/guest/{GUEST}")
    text = guest.get("/events").text
    assert "over the ceiling 3.0" in text
    assert "/events/seen" not in text
    assert guest.submit("/events/seen", page="/", identity="x").status_code == 403


def test_every_change_is_a_post() -> None:
    assert {route.path: route.methods - {"HEAD"} for route in PAGE.routes} == {
        "/events": {"GET"},
        "/events/seen": {"POST"},
        "/events/closed": {"POST"},
    }
