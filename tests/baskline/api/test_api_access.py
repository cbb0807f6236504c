"""Who gets in, and who may change what; on the page's own guard."""

import subprocess
import sys

import pytest

from tests.baskline.api.conftest import PASSWORD, TOKEN

EVERYWHERE = (
    "openapi.json",
    "bridge",
    "enclosures",
    "spots",
    "spots/ledge",
    "spots/ledge/days",
    "spots/ledge/days/2026-05-29",
    "spots/ledge/samples?from=2026-05-29T00:00:00Z",
    "spots/ledge/checks",
    "calibrations",
    "lamps",
    "lamps/tube",
    "lamps/tube/changes",
    "events",
    "boards",
    "boards/ledge-1",
    "live",
    "nowhere",
)
BEARER = {"Authorization": f"Bearer {TOKEN}"}


def change(visitor, room, **options):
    """Acknowledge the open event."""
    (event,) = room.store.events.open()
    return visitor.post(f"/api/v1/events/{event.identity}/acknowledgement", **options)


def is_problem(answer, status):
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    said = answer.json()
    assert said["status"] == status
    assert said["what"]
    assert said["remedy"]
    return True


def untouched(room):
    (event,) = room.store.events.open()
    return event.acknowledged_ms is None


@pytest.mark.parametrize("path", EVERYWHERE)
def test_nobody_gets_in_without_a_key(room, visit, path):
    answer = visit(room).get(f"/api/v1/{path}")
    assert is_problem(answer, 401)
    assert answer.headers["www-authenticate"] == "Bearer"
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "header",
    ["Bearer", "Bearer ", "Bearer wrong", f"Basic {TOKEN}", TOKEN, f"Bearer {TOKEN}x", "Bearer \xe9"],
)
def test_a_wrong_token_is_no_key(room, visit, header):
    assert is_problem(
        visit(room).get("/api/v1/bridge", headers={"Authorization": header.encode("latin-1")}), 401
    )
    assert is_problem(change(visit(room), room, headers={"Authorization": header.encode("latin-1")}), 401)
    assert untouched(room)


def test_a_program_with_the_token_may_look_and_change(room, visit):
    program = visit(room, headers=BEARER)
    assert program.get("/api/v1/bridge").status_code == 200
    assert change(program, room).status_code == 200
    assert not untouched(room)


def test_the_token_opens_nothing_but_the_interface(room, visit):
    assert visit(room, headers=BEARER).get("/").status_code == 303


def test_a_browser_that_is_signed_in_may_look_and_with_the_form_word_change(room, visit):
    browser = visit(room)
    browser.sign_in(PASSWORD)
    assert browser.get("/api/v1/spots").status_code == 200
    without = change(browser, room)
    assert is_problem(without, 403)
    assert "Bearer" in without.json()["remedy"]
    assert is_problem(change(browser, room, headers={"X-Form-Word": "0" * 64}), 403)
    assert untouched(room)
    word = browser.word("/")
    foreign = {"X-Form-Word": word, "Origin": "http://elsewhere.example"}
    assert is_problem(change(browser, room, headers=foreign), 403)
    assert untouched(room)
    assert change(browser, room, headers={"X-Form-Word": word}).status_code == 200
    assert not untouched(room)


def test_a_guest_gets_nothing_from_the_interface(room, visit):
    guest = visit(room)
    guest.get("/guest/a-guests-token")
    assert guest.get("/").status_code == 200
    assert is_problem(guest.get("/api/v1/bridge"), 403)
    assert is_problem(change(guest, room), 403)
    assert untouched(room)


def test_a_page_for_looking_only_changes_nothing(room, visit):
    program = visit(room, may_change=False, headers=BEARER)
    assert program.get("/api/v1/bridge").json()["may_change"] is False
    assert is_problem(change(program, room), 403)
    lamp = {"date": "2026-05-28", "what": "mesh"}
    assert is_problem(program.post("/api/v1/lamps/tube/changes", json=lamp), 403)
    assert is_problem(program.post("/api/v1/spots/ledge/checks", json={"reference_uvi": 2.1}), 403)
    assert untouched(room)
    assert room.store.lamp_changes.of("tube") == []
    assert room.store.checks.of("ledge") == []


def test_another_name_for_this_computer_is_refused(room, visit):
    answer = visit(room, headers=BEARER).get("/api/v1/bridge", headers={"Host": "evil.example"})
    assert answer.status_code == 421
    assert "room" not in answer.text


def test_a_body_beyond_all_measure_is_refused(room, visit):
    program = visit(room, headers=BEARER)
    note = {"date": "2026-05-28", "what": "mesh", "note": "x" * 100_000}
    assert is_problem(program.post("/api/v1/lamps/tube/changes", json=note), 413)


def test_answers_carry_the_headers_of_the_page_and_their_own(room, visit):
    answer = visit(room, headers=BEARER).get("/api/v1/spots")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "private, no-cache"
    assert "server" not in answer.headers
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("path", ["docs", "redoc", "docs/oauth2-redirect"])
def test_there_is_no_page_that_loads_from_elsewhere(room, visit, path):
    assert is_problem(visit(room, headers=BEARER).get(f"/api/v1/{path}"), 404)


def test_only_loopback_without_a_password_needs_no_key_to_look(tmp_path, visit):
    from tests.baskline.page.rooms import PageRoom

    room = PageRoom(tmp_path)
    room.watch()
    room.pass_s(10)
    visitor = visit(room)
    assert visitor.get("/api/v1/spots").status_code == 200
    assert is_problem(
        visitor.post("/api/v1/lamps/tube/changes", json={"date": "2026-05-28", "what": "mesh"}), 403
    )
    assert room.store.lamp_changes.of("tube") == []
    room.stop_watching()


def test_the_page_alone_does_not_load_the_interface():
    looked = "import sys, baskline.page.app; print([name for name in ('fastapi',) if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", looked], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (0, "[]\n")
