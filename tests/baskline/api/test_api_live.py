"""The stream of what changes, over a real connection."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from exposure.events import EventKind
from tests.baskline.api.conftest import PASSWORD, TOKEN
from tests.baskline.page.rooms import PageRoom, RunningPage

BEARER = {"Authorization": f"Bearer {TOKEN}"}


def heard(answer: httpx.Response) -> Iterator[tuple[str, dict[str, object]]]:
    """Yield (name, data) of each event of a stream."""
    name = ""
    for line in answer.iter_lines():
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            yield name, json.loads(line.removeprefix("data: "))


def until(
    events: Iterator[tuple[str, dict[str, object]]], wanted: str, **values: object
) -> dict[str, object]:
    """Return the data of the next event of that name with those values."""
    return next(data for name, data in events if name == wanted and values.items() <= data.items())


@pytest.fixture
def stream(served: RunningPage) -> Iterator[Iterator[tuple[str, dict[str, object]]]]:
    with (
        httpx.Client(timeout=20) as client,
        client.stream("GET", f"{served.url}/api/v1/live", headers=BEARER) as answer,
    ):
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        yield heard(answer)


def test_whoever_comes_is_told_all_that_there_is(room: PageRoom, stream) -> None:
    told = [next(stream) for _ in range(7)]
    assert [name for name, _ in told] == ["bridge", *["spot"] * 5, "happening"]
    assert told[0][1] == {"watched": True}
    (event,) = room.store.events.open()
    assert told[6][1]["identity"] == event.identity


def test_what_changes_is_told_and_nothing_else(room: PageRoom, served: RunningPage, stream) -> None:
    for _ in range(7):
        next(stream)
    spot = httpx.get(f"{served.url}/api/v1/spots/ledge", headers=BEARER).json()
    room.levels["ledge"] = 0.5
    room.pass_s(2, silent=("fern", "moss", "bark", "cave"))
    changed = until(stream, "spot", spot="ledge", place="under_band")
    assert changed.keys() == spot.keys()
    opened = room.happen(EventKind.UNDER_BAND, "ledge", "below the band")
    room.pass_s(2)
    data = until(stream, "happening", identity=opened.identity)
    assert data["closed_at"] is None
    httpx.post(f"{served.url}/api/v1/events/{opened.identity}/closing", headers=BEARER).raise_for_status()
    room.pass_s(2)
    data = until(stream, "happening", identity=opened.identity)
    assert data["closed_at"] is not None


def test_a_bridge_that_stops_is_told(room: PageRoom, stream) -> None:
    assert next(stream) == ("bridge", {"watched": True})
    room.pass_s(2)
    room.stop_watching()
    room.clock.advance_ms(2_000)
    assert until(stream, "bridge")["watched"] is False
    room.watch()


def test_a_store_that_cannot_be_read_is_trouble_until_it_can(tmp_path: Path) -> None:
    room = PageRoom(tmp_path)
    with (
        RunningPage(room) as page,
        httpx.Client(timeout=20) as client,
        client.stream("GET", f"{page.url}/api/v1/live") as answer,
    ):
        stream = heard(answer)
        name, data = next(stream)
        assert name == "trouble"
        assert data["what"] == "there is no store yet"
        assert data["remedy"]
        room.watch()
        room.pass_s(10)
        assert next(stream) == ("bridge", {"watched": True})
    room.stop_watching()


def test_there_is_an_end_to_how_many_listen(served: RunningPage) -> None:
    from contextlib import ExitStack

    with ExitStack() as stack, httpx.Client(timeout=20, limits=httpx.Limits(max_connections=None)) as client:
        answers = [
            stack.enter_context(client.stream("GET", f"{served.url}/api/v1/live", headers=BEARER))
            for _ in range(20)
        ]
        streams = [heard(answer) for answer in answers]  # kept, because one that is dropped hangs up
        assert [next(each)[0] for each in streams] == ["bridge"] * 20
        refused = client.get(f"{served.url}/api/v1/live", headers=BEARER)
        assert refused.status_code == 503
        assert "too many listen" in refused.json()["what"]


def test_whoever_signs_out_hears_no_more(served: RunningPage) -> None:
    with httpx.Client(timeout=20, base_url=served.url) as browser:

        def submit(path: str, form_on: str, **fields: str) -> None:
            page = browser.get(form_on).text
            (word,) = set(re.findall(r'name="form_word" value="([^"]+)"', page))
            assert browser.post(path, data={"form_word": word, **fields}).status_code == 303

        submit("/login", "/login", password=PASSWORD)
        with browser.stream("GET", "/api/v1/live") as answer:
            stream = heard(answer)
            assert next(stream)[0] == "bridge"
            submit("/logout", "/")
            assert "bridge" not in {name for name, _ in stream}  # and it ends
