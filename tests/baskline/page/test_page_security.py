"""What the page refuses, and what every answer carries."""

import asyncio
import logging
import re

import pytest
from starlette.datastructures import URL
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import Message

from baskline.page.app import PAGES
from baskline.page.attempts import MOST_FROM_ONE, MOST_IN_ALL, WINDOW_S
from baskline.page.guard import MOST_BYTES
from baskline.page.pages import Page
from baskline.page.rendering import render
from baskline.page.sessions import IDLE_S, LONGEST_S
from calibrate.errors import KeeperError
from tests.baskline.page.conftest import GUEST, PASSWORD, PROGRAM
from tests.baskline.page.rooms import PageRoom

HOST = "localhost:8765"


async def change(request: Request) -> Response:
    return Response("changed")


async def hold(request: Request) -> Response:
    return render(request, "login.html", goal="/", trouble="")


async def fail(request: Request) -> Response:
    raise RuntimeError("a secret in a traceback")


async def keepers_mistake(request: Request) -> Response:
    raise KeeperError("the store is away", remedy="Bring it back")


TRIAL = Page(
    routes=(
        Route("/change", change, methods=["POST"]),
        Route("/api/v1/change", change, methods=["GET", "POST"]),
        Route("/hold", hold),
        Route("/fail", fail),
        Route("/mistake", keepers_mistake),
        Route("/private", change),
    )
)


@pytest.fixture(autouse=True)
def with_trial_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.baskline.page.rooms.PAGES", (*PAGES, TRIAL))


@pytest.mark.parametrize("path", ["/", "/static/page.css", "/nothing", "/fail", "/mistake", "/live-not"])
def test_every_answer_carries_the_security_headers(room: PageRoom, visit, path: str) -> None:
    headers = visit(room).get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
    kept = path.startswith("/static/")
    assert headers["cache-control"] == ("public, max-age=31536000, immutable" if kept else "no-store")


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8765",
        "localhost.evil.example",
        "",
        "10.0.0.7",
        "localhost:8765/login?",
        "localhost:evil.example",
        "[::1]/static/?",
        "[::1",
    ],
)
def test_a_foreign_name_in_the_host_header_is_refused(room: PageRoom, visit, host: str) -> None:
    answer = visit(room).get("/", headers={"host": host})
    assert answer.status_code == 421
    assert answer.text.startswith("This page does not go by that name")
    assert "test / room" not in answer.text


@pytest.mark.parametrize("host", ["localhost:8765", "127.0.0.1:8765", "[::1]:8765", "LOCALHOST"])
def test_the_pages_own_names_are_answered(room: PageRoom, visit, host: str) -> None:
    assert visit(room).get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("host", "status"), [("room.lan", 303), ("192.168.1.20:8765", 303), ("else.lan", 421)]
)
def test_on_the_network_addresses_and_given_names_are_answered(locked_room, visit, host, status) -> None:
    text = locked_room.config_file.read_text()
    locked_room.config_file.write_text(f'{text}host = "0.0.0.0"\nnames = ["room.lan"]\n')
    assert visit(locked_room).get("/", headers={"host": host}).status_code == status


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e%2f%2e%2e%2f%2e%2e%2fetc/passwd",
        "/static//etc/passwd",
        "/static/..\\app.py",
    ],
)
def test_no_path_leads_out_of_the_static_folder(room: PageRoom, visit, path: str) -> None:
    answer = visit(room).get(path)
    assert answer.status_code == 404
    assert "import" not in answer.text


def test_a_fault_is_told_in_words_and_its_traceback_stays_in_the_log(room: PageRoom, visit, caplog) -> None:
    answer = visit(room).get("/fail")
    assert answer.status_code == 500
    assert "This is a fault in baskline" in answer.text
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text


def test_what_the_keeper_can_mend_is_told_with_its_remedy(room: PageRoom, visit, caplog) -> None:
    with caplog.at_level(logging.WARNING):
        answer = visit(room).get("/mistake")
    assert answer.status_code == 503
    assert "The store is away" in answer.text
    assert "Bring it back" in answer.text


@pytest.mark.parametrize("locked", [False, True])
def test_a_change_needs_the_forms_word(room: PageRoom, visit, request, locked: bool) -> None:
    visitor = visit(request.getfixturevalue("locked_room") if locked else room)
    if locked:
        visitor.sign_in(PASSWORD)
    assert visitor.post("/change").status_code == 403
    assert visitor.post("/change", data={"form_word": "0" * 64}).status_code == 403
    assert visitor.post("/change", headers={"X-Form-Word": "wörd".encode()}).status_code == 403


def word_of_a_signed_in(visitor) -> str:
    found = re.search(r'name="form_word" value="(\w+)"', visitor.get("/").text)
    assert found is not None
    return found[1]


def test_the_forms_word_lets_a_change_through_in_a_form_or_in_a_header(locked_room, visit) -> None:
    visitor = visit(locked_room)
    assert visitor.sign_in(PASSWORD).status_code == 303
    word = word_of_a_signed_in(visitor)
    assert visitor.post("/change", data={"form_word": word}).text == "changed"
    assert visitor.post("/change", headers={"X-Form-Word": word}).text == "changed"


def test_a_word_is_of_no_use_to_another_session(locked_room, visit) -> None:
    one, other = visit(locked_room), visit(locked_room)
    one.sign_in(PASSWORD)
    other.sign_in(PASSWORD)
    assert other.post("/change", data={"form_word": word_of_a_signed_in(one)}).status_code == 403


def test_a_change_from_a_foreign_origin_is_refused(room: PageRoom, visit) -> None:
    visitor = visit(room)
    word = {"form_word": visitor.word("/hold")}
    assert visitor.post("/change", data=word, headers={"origin": f"http://{HOST}"}).text == "changed"
    for origin in ("http://evil.example", "null", "http://localhost:1", "http://localhost:8765.evil.example"):
        answer = visitor.post("/change", data=word, headers={"origin": origin})
        assert answer.status_code == 403
        assert "another page" in answer.text


def test_whoever_is_not_signed_in_is_led_to_the_password(locked_room, visit) -> None:
    visitor = visit(locked_room)
    answer = visitor.get("/private?day=2026-05-29")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/login?next=/private%3Fday%3D2026-05-29"
    assert visitor.get("/live").status_code == 401
    assert visitor.get("/api/v1/change").status_code == 401
    assert visitor.post("/change").status_code == 401


@pytest.mark.parametrize(
    "path", ["//api/v1/change", "/api%2Fv1/change", "/static/../private", "/login/../private"]
)
def test_no_other_way_to_write_a_path_opens_it(locked_room, visit, path: str) -> None:
    answer = visit(locked_room).get(path)
    assert answer.status_code in (303, 401, 404)
    assert answer.text != "changed"


def test_the_guard_asks_the_path_that_is_routed_and_not_the_address_that_was_asked_for(
    locked_room, visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Older libraries put an address together from the Host header and take it apart again.
    monkeypatch.setattr(Request, "url", URL("http://localhost:8765/login?/private"))
    assert visit(locked_room).get("/private").status_code == 303


def test_who_leaves_while_sending_is_no_fault(room: PageRoom) -> None:
    """A browser that is closed in the middle of a form."""
    parts = iter([{"type": "http.request", "body": b"form_", "more_body": True}, {"type": "http.disconnect"}])
    headers = [(b"host", HOST.encode()), (b"content-length", b"60")]
    scope = {"type": "http", "method": "POST", "path": "/change", "query_string": b"", "headers": headers}
    sent = []

    async def receive() -> Message:
        return next(parts)

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(room.app()(scope, receive, send))
    assert sent[0]["status"] == 400


def test_the_password_opens_the_page_and_signing_out_shuts_it(locked_room, visit) -> None:
    visitor = visit(locked_room)
    answer = visitor.submit("/login", password=PASSWORD, next="/private")
    assert (answer.status_code, answer.headers["location"]) == (303, "/private")
    assert visitor.get("/private").text == "changed"
    assert visitor.post("/logout", data={"form_word": word_of_a_signed_in(visitor)}).status_code == 303
    assert visitor.get("/private").status_code == 303


@pytest.mark.parametrize("goal", ["//evil.example/", "https://evil.example/", "/\\evil.example", "word"])
def test_signing_in_leads_nowhere_else(locked_room, visit, goal: str) -> None:
    answer = visit(locked_room).submit("/login", password=PASSWORD, next=goal)
    assert answer.headers["location"] == "/"


def test_the_cookie_is_kept_from_scripts_and_foreign_pages(locked_room, visit) -> None:
    cookie = visit(locked_room).sign_in(PASSWORD).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Path=/" in cookie
    assert "Secure" not in cookie


def test_under_encryption_the_cookie_goes_nowhere_else(locked_room, visit) -> None:
    visitor = visit(locked_room)
    visitor.base_url = "https://localhost:8765"
    cookie = visitor.sign_in(PASSWORD).headers["set-cookie"]
    assert cookie.startswith("__Host-baskline-8765=")
    assert "Secure" in cookie


def test_signing_in_begins_a_session_that_nobody_could_have_planted(locked_room, visit) -> None:
    visitor = visit(locked_room)
    visitor.get("/login")
    planted = dict(visitor.cookies)
    visitor.sign_in(PASSWORD)
    assert dict(visitor.cookies) != planted
    other = visit(locked_room)
    other.cookies.update(planted)
    assert other.get("/private").status_code == 303


@pytest.mark.parametrize("every_s", [IDLE_S + 1, 86_400.0])
def test_a_session_ends_when_it_is_idle_or_old(locked_room, visit, every_s: float) -> None:
    visitor = visit(locked_room)
    visitor.sign_in(PASSWORD)
    n_used = 0
    while visitor.get("/private").status_code == 200:
        locked_room.clock.wait_s(every_s)
        n_used += 1
    assert n_used == (1 if every_s > IDLE_S else LONGEST_S // every_s + 1)


def test_after_some_wrong_passwords_an_address_waits(locked_room, visit) -> None:
    visitor = visit(locked_room, address="192.168.1.7")
    for _ in range(MOST_FROM_ONE):
        assert visitor.sign_in("a wrong password").status_code == 403
    refused = visitor.sign_in(PASSWORD)
    assert refused.status_code == 429
    assert 0 < int(refused.headers["retry-after"]) <= WINDOW_S + 1
    locked_room.clock.wait_s(WINDOW_S)
    assert visitor.sign_in(PASSWORD).status_code == 303


def test_many_addresses_together_wait_too_and_the_signed_in_notice_nothing(locked_room, visit) -> None:
    app = locked_room.app()
    keeper = visit(locked_room, app=app)
    keeper.sign_in(PASSWORD)
    gate_page = visit(locked_room, app=app)
    word = gate_page.word()
    for number in range(MOST_IN_ALL):
        gate_page.from_address(f"10.0.0.{number}")
        answer = gate_page.post("/login", data={"form_word": word, "password": "wrong"})
        assert answer.status_code == 403
    gate_page.from_address("10.0.1.1")
    assert gate_page.post("/login", data={"form_word": word, "password": PASSWORD}).status_code == 429
    assert keeper.get("/private").status_code == 200


def test_the_guests_link_lets_look_and_change_nothing(locked_room, visit) -> None:
    visitor = visit(locked_room)
    assert "Welcome" in visitor.get(f"/guest/{GUEST}").text
    overview = visitor.get("/")
    assert "Fern crown" in overview.text
    assert visitor.get("/private").status_code == 403
    word = word_of_a_signed_in(visitor)
    assert visitor.post("/change", data={"form_word": word}).status_code == 403


def test_guests_links_that_are_guessed_count_as_tries(locked_room, visit) -> None:
    visitor = visit(locked_room)
    for number in range(MOST_FROM_ONE):
        assert visitor.get(f"/guest/guess-{number}").status_code == 403
    assert visitor.get(f"/guest/{GUEST}").status_code == 429


def test_a_programs_token_opens_the_interface_alone_and_needs_no_form(locked_room, visit) -> None:
    visitor = visit(locked_room)
    bearer = {"authorization": f"Bearer {PROGRAM}"}
    assert visitor.post("/api/v1/change", headers=bearer).text == "changed"
    assert visitor.get("/private", headers=bearer).status_code == 303
    assert visitor.get("/api/v1/change", headers={"authorization": "Bearer guess"}).status_code == 401


def test_without_a_password_a_programs_change_still_needs_a_word(room: PageRoom, visit) -> None:
    answer = visit(room).post("/api/v1/change", json={})
    assert answer.status_code == 403
    assert answer.json()["what"] == "A change needs a token"


def test_more_than_a_form_needs_is_refused(room: PageRoom, visit) -> None:
    def parts():
        for _ in range(MOST_BYTES // 1024 + 1):
            yield b"x" * 1024

    visitor = visit(room)
    assert visitor.post("/change", content=b"x" * (MOST_BYTES + 1)).status_code == 413
    assert visitor.post("/change", content=parts()).status_code == 413
    assert visitor.post("/change", headers={"content-length": "-1"}, content=b"").status_code in (400, 413)


def test_a_page_for_looking_offers_no_change(room: PageRoom, visit) -> None:
    assert "only for looking" in visit(room, may_change=False).get("/").text
    assert "only for looking" not in visit(room).get("/").text
