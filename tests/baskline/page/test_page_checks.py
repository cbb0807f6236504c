"""Calibrations on the page, and a spot check entered from a phone."""

import threading

import pytest
from playwright.sync_api import expect

from calibrate.calibration_file import format_calibration
from firmware_host.clock import ManualClock
from tests.baskline.page.rooms import PageRoom, PastRoom
from tests.ingest.rig import UVI_PER_COUNT, calibration


class HeldClock(ManualClock):
    """A clock on which who waits is held until let go."""

    def __init__(self, wall_ms: int) -> None:
        super().__init__(wall_ms)
        self.somebody_waits = threading.Event()
        self.go_on = threading.Event()

    def wait_s(self, seconds: float) -> None:
        self.somebody_waits.set()
        assert self.go_on.wait(20)


def test_a_check_is_entered_kept_and_withdrawn(room: PageRoom, serve, open_page) -> None:
    page = open_page(f"{serve(room).url}/checks/ledge", width=360).page
    expect(page.locator("#enter .caution")).to_contain_text("Wear glasses that stop UV")
    page.get_by_label("What the meter shows").fill("2,1")
    page.get_by_role("button", name="Compare").click()
    result = page.locator("#result")
    expect(result).to_contain_text("meter 2.1, spot 2.00 ±")
    expect(result).to_contain_text("within: the calibration holds")
    (check,) = room.store.checks.of("ledge")
    assert (check.reference_uvi, check.same_meter, check.withdrawn) == (2.1, True, False)
    result.get_by_role("button", name="Withdraw it").click()
    expect(page.get_by_role("status")).to_contain_text("Withdrawn")
    expect(page.locator("section:has(#checks)")).to_contain_text("withdrawn")
    (check,) = room.store.checks.of("ledge")
    assert check.withdrawn


def test_one_that_is_far_off_says_what_to_do_and_its_meter_is_remembered(room: PageRoom, visit) -> None:
    visitor = visit(room)
    answer = visitor.submit("/checks/ledge", page="/checks/ledge", reference="3.4", accuracy="5")
    assert answer.status_code == 303
    text = visitor.get(answer.headers["location"]).text
    assert "out: take its UVI for unknown" in text
    assert "counts as another than the one" in text
    assert (
        'name="accuracy" inputmode="decimal" autocomplete="off" aria-describedby="accuracy-hint" value="5"'
        in (text)
    )
    # At another spot the keeper has the same meter in hand.
    assert 'value="5"' in visitor.get("/checks/moss").text


def test_while_it_waits_it_says_so_and_other_pages_are_served(room: PageRoom, serve, open_page) -> None:
    clock = room.clock = HeldClock(room.now_ms)
    room.pass_s(600, silent=("ledge",))  # so the board has not spoken for long
    url = serve(room).url
    page = open_page(f"{url}/checks/ledge").page
    page.get_by_label("What the meter shows").fill("2.0")
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("#waiting")).to_contain_text("Waiting for the readings of 30 s at this spot")
    assert clock.somebody_waits.wait(5)
    other = page.context.new_page()
    other.goto(f"{url}/")
    expect(other.get_by_role("status")).to_be_visible()
    room.pass_s(40)
    clock.go_on.set()
    expect(page.locator("#result")).to_contain_text("within: the calibration holds")
    assert len(room.store.checks.of("ledge")) == 1


def test_a_finger_that_taps_twice_makes_one_check(room: PageRoom, visit) -> None:
    visitor = visit(room)
    for _ in range(2):
        visitor.submit("/checks/ledge", page="/checks/ledge", reference="2.0")
    assert len(room.store.checks.of("ledge")) == 1
    room.pass_s(60)
    visitor.submit("/checks/ledge", page="/checks/ledge", reference="2.0")
    assert len(room.store.checks.of("ledge")) == 2


def test_under_a_lamp_that_is_off_nothing_is_kept_and_it_is_said(room: PageRoom, visit) -> None:
    visitor = visit(room)
    answer = visitor.submit("/checks/bark", page="/checks/bark", reference="2.0")
    text = visitor.get(answer.headers["location"]).text
    assert "Nothing was kept" in text
    assert "too little to compare" in text
    assert room.store.checks.of("bark") == []


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({}, "it was not said what the meter shows"),
        ({"reference": "much"}, "&#39;much&#39; is no number from 0.1 to 100"),
        ({"reference": "0"}, "is no number from 0.1 to 100"),
        ({"reference": "nan"}, "is no number from 0.1 to 100"),
        ({"reference": "2", "accuracy": "80"}, "the meter&#39;s accuracy: &#39;80&#39; is no number"),
        ({"reference": "2", "resolution": "-1"}, "is no number from 0 to 1"),
    ],
)
def test_what_is_no_reading_is_refused_in_words_and_stays_in_the_form(
    room: PageRoom, visit, fields, why
) -> None:
    answer = visit(room).submit("/checks/ledge", page="/checks/ledge", **fields)
    assert answer.status_code == 422
    assert why in answer.text
    assert f'value="{fields.get("reference", "")}"' in answer.text
    assert room.store.checks.of("ledge") == []


def test_where_nobody_watches_nothing_is_compared(room: PageRoom, visit) -> None:
    visitor = visit(room)
    visitor.get("/checks/ledge")
    room.stop_watching()
    answer = visitor.submit("/checks/ledge", page="/checks/ledge", reference="2.0")
    assert answer.status_code == 422
    assert "nothing is measured now. Start it again with: baskline run" in answer.text


def test_a_spot_without_a_calibration_has_no_form(room: PageRoom, visit) -> None:
    visitor = visit(room)
    text = visitor.get("/checks/cave").text
    assert "Has no calibration that could be checked" in text
    assert "Compare with a meter" not in text
    answer = visitor.submit("/checks/cave", page="/checks/ledge", reference="2.0")
    assert answer.status_code == 422


def test_a_check_that_is_not_there_cannot_be_withdrawn(room: PageRoom, visit) -> None:
    for number, status in (("9", 409), ("x", 422)):
        answer = visit(room).submit("/checks/ledge/withdrawn", page="/checks/ledge", check=number)
        assert answer.status_code == status


def test_a_result_that_is_forgotten_shows_the_list_alone(room: PageRoom, visit) -> None:
    visitor = visit(room)
    text = visitor.get("/checks/ledge?job=0123").text
    assert 'id="result"' not in text
    assert visitor.get("/checks/ledge/under-way/0123").json() == {"done": True, "words": []}


def test_the_calibration_is_shown_with_its_budget_its_end_and_its_checks(past_room: PastRoom, visit) -> None:
    visitor = visit(past_room)
    text = visitor.get("/checks/slate").text
    for words in (
        "reference meter",
        "together",
        "It ends on 15 March 2026",
        "Next check: ",
        "doubtful</b>: measure again",
        "Where its uncertainty comes from",
        "the light is −",
    ):
        assert words in text, words
    overview = visitor.get("/checks").text
    for words in ("slate ledge", "15 March 2026", "within", "Next check"):
        assert words in overview, words


def test_a_file_that_is_newer_than_what_the_bridge_works_with_is_told(room: PageRoom, visit) -> None:
    assert "The bridge still works with " not in visit(room).get("/checks/ledge").text
    newer = calibration(UVI_PER_COUNT * 1.1)
    room.config_file.with_name("tube.toml").write_text(format_calibration(newer))
    assert "The bridge still works with " in visit(room).get("/checks/ledge").text


def test_a_page_that_is_only_for_looking_has_no_form_and_refuses(room: PageRoom, visit) -> None:
    looking = visit(room, may_change=False)
    assert "<form" not in looking.get("/checks/ledge").text
    word = looking.word_of_session()
    for path in ("/checks/ledge", "/checks/ledge/withdrawn"):
        answer = looking.post(path, data={"form_word": word, "reference": "2.0", "check": "1"})
        assert answer.status_code == 403
        assert "only for looking" in answer.text
    assert room.store.checks.of("ledge") == []
