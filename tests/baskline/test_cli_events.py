"""`baskline events`, `baskline acknowledge` and `baskline close` on a real store."""

import json
from datetime import date

import pytest

from exposure.days import HOUR_MS, day_bounds
from exposure.events import Event, EventKind, Severity
from ingest.store.store import Store
from tests.baskline.making import VIENNA, fill, half_sine, room, said_here

DAY = date(2025, 5, 17)
MIDNIGHT_MS = day_bounds(DAY, VIENNA).start_ms


def event(name, opened_h, closed_h, **more):
    usual = {
        "kind": EventKind.OVER_CEILING,
        "subject_kind": "spot",
        "subject": "ledge",
        "severity": Severity.NOW,
        "sentence": f"{name}, 4.9 ± 0.3 over 4 (k = 2)",
        "advice": "Raise the lamp",
    }
    return Event(
        identity=f"{name}.ledge.1",
        opened_ms=MIDNIGHT_MS + round(opened_h * HOUR_MS),
        closed_ms=None if closed_h is None else MIDNIGHT_MS + round(closed_h * HOUR_MS),
        **{**usual, **more},
    )


@pytest.fixture
def home(tmp_path):
    config = room(tmp_path)
    fill(config, DAY, half_sine(2.5, 7, 11), every_s=60)
    with Store.open(config.bridge.store) as store:
        for each in (event("old", -240, -239), event("over", 9, 10), event("still", 12, None)):
            store.events.put(each)
    return tmp_path


def test_events_stand_in_order_with_what_to_do_for_the_open_ones(home):
    assert said_here("events", folder=home).out.splitlines() == [
        "opened        closed        look   what",
        "17 May 09:00  17 May 10:00  now    ledge: over, 4.9 ± 0.3 over 4 (k = 2)",
        "17 May 12:00  open          now    ledge: still, 4.9 ± 0.3 over 4 (k = 2)",
        "",
        "still.ledge.1",
        "  Raise the lamp.",
    ]


def test_what_happened_long_after_the_newest_reading_is_there_too(home):
    with Store.open(home / "baskline.db") as store:
        store.events.put(event("late", 24 * 9, None))
    assert "26 May 00:00  open          now    ledge: late" in said_here("events", folder=home).out


def test_only_the_open_ones(home):
    said = said_here("events", "--open", folder=home).out
    assert "still.ledge.1" in said
    assert "over, 4.9" not in said


def test_as_many_days_back_as_asked(home):
    def listed(days):
        found = json.loads(said_here("events", "--days", days, "--json", folder=home).out)["events"]
        return [each["identity"] for each in found]

    assert listed(1) == ["over.ledge.1", "still.ledge.1"]
    assert listed(30) == ["old.ledge.1", "over.ledge.1", "still.ledge.1"]


def test_no_events_is_said(tmp_path):
    fill(room(tmp_path), DAY, half_sine(2.5, 7, 11), every_s=600)
    assert said_here("events", folder=tmp_path).out == "No events in 7 days.\n"
    assert said_here("events", "--open", folder=tmp_path).out == "No open events.\n"


def test_an_acknowledged_event_stays_open_and_is_seen(home):
    said = said_here("acknowledge", "still.ledge.1", folder=home)
    assert said.out == "Acknowledged: ledge: still, 4.9 ± 0.3 over 4 (k = 2).\n"
    assert "17 May 12:00  open, seen    now    ledge: still" in said_here("events", folder=home).out
    (found,) = json.loads(said_here("events", "--open", "--json", folder=home).out)["events"]
    assert found["acknowledged_at"] is not None
    assert found["closed_at"] is None


def test_acknowledging_twice_keeps_the_first_time(home):
    def seen_at():
        said_here("acknowledge", "still.ledge.1", folder=home)
        return json.loads(said_here("events", "--open", "--json", folder=home).out)["events"][0][
            "acknowledged_at"
        ]

    assert seen_at() == seen_at()


def test_the_broker_is_told_of_an_acknowledgement_once(home):
    room(home, more='\n[mqtt]\nhost = "127.0.0.1"\nport = 9\n')
    for _ in range(2):
        said_here("acknowledge", "still.ledge.1", folder=home)
    with Store.open(home / "baskline.db", read_only=True) as store:
        (waiting,) = store.outbox.pending(10, 0)
    told = json.loads(waiting.message.payload)
    assert (told["event_type"], told["identity"]) == ("over_ceiling_acknowledged", "still.ledge.1")


def test_a_spots_key_acknowledges_all_that_is_open_there(home):
    with Store.open(home / "baskline.db") as store:
        store.events.put(event("more", 13, None))
    said = said_here("acknowledge", "ledge", folder=home).out.splitlines()
    assert said == [
        "Acknowledged: ledge: still, 4.9 ± 0.3 over 4 (k = 2).",
        "Acknowledged: ledge: more, 4.9 ± 0.3 over 4 (k = 2).",
    ]
    said_here("close", "still.ledge.1", folder=home)
    said_here("close", "more.ledge.1", folder=home)
    assert said_here("acknowledge", "ledge", folder=home).out == "Nothing is open at ledge.\n"


def test_an_event_closed_by_hand_is_over_and_says_so(home):
    said = said_here("close", "still.ledge.1", folder=home).out
    assert said == "Closed, by hand: ledge: still, 4.9 ± 0.3 over 4 (k = 2).\n"
    assert said_here("events", "--open", folder=home).out == "No open events.\n"
    assert "ledge: still, 4.9 ± 0.3 over 4 (k = 2) (closed by hand)" in said_here("events", folder=home).out


def test_the_broker_is_told_of_a_closing_by_hand_once(home):
    room(home, more='\n[mqtt]\nhost = "127.0.0.1"\nport = 9\n')
    for _ in range(2):
        said_here("close", "still.ledge.1", folder=home)
    with Store.open(home / "baskline.db", read_only=True) as store:
        (waiting,) = store.outbox.pending(10, 0)
    told = json.loads(waiting.message.payload)
    assert (told["event_type"], told["closing"]) == ("over_ceiling_closed", "by hand")
    assert told["acknowledged_at"] is not None


@pytest.mark.parametrize("command", ["acknowledge", "close"])
def test_an_unknown_event_is_said_with_where_to_look(home, command):
    said = said_here(command, "over_ceiling.ledge.7", folder=home)
    assert said.code == 1
    assert "no event 'over_ceiling.ledge.7'" in said.err
    assert "baskline events" in said.err


def test_an_unknown_spot_is_said_with_the_nearest(home):
    said = said_here("acknowledge", "lege", folder=home)
    assert said.code == 1
    assert "no spot 'lege'" in said.err
    assert "Did you mean 'ledge'?" in said.err
