"""Every document of the interface beside what the commands say of the same store."""

import json
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from fastapi.openapi.models import OpenAPI
from jsonschema import Draft202012Validator

from baskline.api.app import create_api
from baskline.page.desk import Desk
from baskline.page.sessions import Access
from exposure.days import day_bounds
from exposure.events import EventKind
from firmware_host.clock import ManualClock
from ingest.config import load_config
from tests.baskline.documented import departures, sections, table
from tests.baskline.making import VIENNA, demo_folder, said_here
from tests.baskline.page.rooms import PageRoom, TestClient, Visitor

SPOTS = ["slate", "crevice", "thyme", "hay_rick", "fern"]
END_MS = day_bounds(date(2025, 5, 17), VIENNA).end_ms


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    """The demo's folder, one of our own: some tests change what is in it."""
    return shutil.copytree(demo_folder(tmp_path_factory), tmp_path_factory.mktemp("api") / "demo")


@pytest.fixture(scope="module")
def api(demo) -> Iterator[TestClient]:
    """The interface on the demo's store at the end of its day, for whoever may do everything."""
    config = load_config(demo / "baskline.toml")
    desk = Desk(config, config.bridge.store, ManualClock(END_MS), may_change=True)
    with TestClient(create_api(desk, lambda _request: Access.KEEPER)) as client:
        yield client
    desk.close()


def printed(*words, folder):
    said = said_here(*words, "--json", folder=folder)
    assert said.err == ""
    return json.loads(said.out)


def got(client, path, **query):
    answer = client.get(path, params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def refused(answer, status, what):
    """Check that an answer is a problem as RFC 9457 has it; return it."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    said = answer.json()
    assert said.keys() == {"type", "title", "status", "detail", "what", "where", "remedy", "slips"}
    assert (said["type"], said["status"]) == ("about:blank", status)
    assert what in said["what"]
    assert said["what"].rstrip(".") in said["detail"]
    return said


# -- the same as the commands


@pytest.mark.parametrize("spot", SPOTS)
def test_a_day_is_as_the_command_prints_it(api, demo, spot):
    expected = printed("day", spot, "--date", "2025-05-17", folder=demo)
    document = got(api, f"/spots/{spot}/days/2025-05-17")
    assert document == expected
    assert departures(document, table(sections()["`baskline day SPOT --json`"])) == []


def test_a_day_of_which_nothing_is_known_is_a_day_without_values(api):
    document = got(api, "/spots/slate/days/2020-02-29")
    assert document["coverage"] == 0
    assert document["peak_uvi"] is None
    assert document["events"] == []


def test_kept_days_have_the_same_figures(api, demo):
    document = got(api, "/spots/fern/days", **{"from": "2025-05-16", "to": "2025-05-17"})
    expected = printed("day", "fern", "--date", "2025-05-17", folder=demo)
    last = document["days"][-1]
    of_others = {"ramp_minutes", "compared", "dose_verdict", "events"}
    assert {name: last[name] for name in expected.keys() - of_others} == {
        name: expected[name] for name in expected.keys() - of_others
    }
    assert last["lamp"]["ramp_minutes"] == expected["ramp_minutes"]
    assert last["lamp"]["switch_ons"] >= 1
    assert last["calibration"] is not None
    assert document["next"] is None


def test_samples_are_those_that_the_command_prints(api, demo):
    lines = said_here("day", "slate", "--date", "2025-05-17", "--csv", folder=demo).out.splitlines()[1:]
    noon = [line.split(",") for line in lines if line.startswith("2025-05-17T10:")]
    query = {"from": "2025-05-17T10:00:00Z", "to": "2025-05-17T13:00:00+02:00", "limit": 10_000}
    document = got(api, "/spots/slate/samples", **query)
    assert document["next"] is None
    assert [each["time_utc"] for each in document["samples"]] == [each[0] for each in noon]
    assert [f"{each['uvi']:.4f}" for each in document["samples"]] == [each[2] for each in noon]
    assert [f"{each['u_uvi']:.4f}" for each in document["samples"]] == [each[3] for each in noon]
    assert [" ".join(each["flags"]) for each in document["samples"]] == [each[4] for each in noon]


def test_a_sample_without_a_value_says_why(api):
    document = got(api, "/spots/hay_rick/samples", **{"from": "2025-05-17T10:00:00Z", "limit": 1})
    (sample,) = document["samples"]
    assert (sample["uvi"], sample["u_uvi"], sample["flags"]) == (None, None, ["uncalibrated"])


def test_events_are_those_that_the_command_prints(api, demo):
    expected = printed("events", "--days", "3000", folder=demo)["events"]
    assert got(api, "/events", limit=500)["events"] == expected
    assert got(api, f"/events/{expected[0]['identity']}") == expected[0]


def test_events_are_chosen_by_what_they_are(api):
    every = got(api, "/events")["events"]
    chosen = {
        "open": lambda event: event["closed_at"] is None,
        "severity": lambda event: event["severity"] == "now",
        "kind": lambda event: event["kind"] == "under_band",
        "subject": lambda event: event["subject"] == "fern",
    }
    for name, value in (("open", "true"), ("severity", "now"), ("kind", "under_band"), ("subject", "fern")):
        expected = [event for event in every if chosen[name](event)]
        assert got(api, "/events", **{name: value})["events"] == expected != []
    assert got(api, "/events", open="false")["events"] == [event for event in every if event["closed_at"]]
    times = {"from": "2025-05-17T11:00:00Z", "to": "2025-05-17T11:30:00Z"}
    found = got(api, "/events", **times)["events"]
    assert [event["identity"] for event in found] == [
        event["identity"]
        for event in every
        if event["opened_at"] < "2025-05-17T11:30:00.000Z"
        and (event["closed_at"] is None or event["closed_at"] >= "2025-05-17T11:00:00.000Z")
    ]


def test_lamps_are_as_the_command_prints_them(api, demo):
    expected = printed("lamps", folder=demo)
    document = got(api, "/lamps")
    assert document == expected
    assert departures(document, table(sections()["`baskline lamps [LAMP] --json`"])) == []
    for lamp in expected["lamps"]:
        assert got(api, f"/lamps/{lamp['lamp']}") == lamp
        assert got(api, f"/lamps/{lamp['lamp']}/changes") == {
            "lamp": lamp["lamp"],
            "changes": lamp["changes"],
        }


def test_checks_are_as_the_command_prints_them(api, demo):
    documented = table(sections()["`baskline calibrate verify SPOT --json`"])
    for spot in ("slate", "fern"):
        expected = printed("calibrate", "verify", spot, folder=demo)
        document = got(api, f"/spots/{spot}/checks")
        # The command's clock is the system's: for it all is overdue.
        for each in (expected, document):
            each.pop("overdue"), each.pop("twins")
        assert expected.pop("check") is None
        assert document.pop("spot") == spot
        assert document == expected
        assert {line for line in departures(document, documented) if "twins" not in line} == {
            "check: documented, but not there",
            "overdue: documented, but not there",
        }


def test_a_spot_without_a_calibration_has_no_checks(api):
    document = got(api, "/spots/hay_rick/checks")
    assert document["checks"] == []
    assert document["due"] is None
    assert document["overdue"] is False


def test_calibrations_are_as_the_command_shows_them(api, demo):
    listed = got(api, "/calibrations")["calibrations"]
    assert sorted(spot for each in listed for spot in each["spots"]) == ["crevice", "fern", "slate", "thyme"]
    for each in listed:
        document = got(api, f"/calibrations/{each['identity']}")
        (spot,) = document.pop("spots")
        expected = printed("calibrate", "show", f"calibrations/{spot}.toml", folder=demo)
        assert expected.pop("history") is None
        assert expected.pop("under") is None
        assert document == expected
        assert {name: document[name] for name in each if name != "spots"}.items() <= each.items()


# -- the room now


def test_the_bridge_says_which_it_is_and_how_it_is(api):
    document = got(api, "/bridge")
    assert (document["site"], document["bridge"], document["time_zone"]) == ("demo", "invented-room", VIENNA)
    assert document["newest_reading_at"] == "2025-05-17T21:59:50.008Z"
    assert document["watched"] is False
    assert document["may_change"] is True


def test_the_configuration_is_told_in_its_order(api):
    enclosures = got(api, "/enclosures")["enclosures"]
    assert [spot for each in enclosures for spot in each["spots"]] == SPOTS
    assert enclosures[0]["label"] == "Rock garden"
    assert [each["spot"] for each in got(api, "/spots")["spots"]] == SPOTS


def test_a_spot_is_as_it_is_now(program, room):
    ledge, fern = got(program, "/api/v1/spots/ledge"), got(program, "/api/v1/spots/fern")
    assert ledge["uvi"] == pytest.approx(2.0, abs=0.01)
    assert 0 < ledge["u_uvi"] < 0.2
    assert (ledge["place"], ledge["current"], ledge["open_events"]) == ("in_band", True, [])
    assert (fern["place"], fern["open_events"]) == ("over_ceiling", ["over_ceiling"])
    assert fern["band"] == {"low_uvi": 1.0, "high_uvi": 2.6, "ceiling_uvi": 3.0}
    room.pass_s(600, silent=("fern",))
    fern = got(program, "/api/v1/spots/fern")
    assert (fern["uvi"], fern["current"], fern["place"]) == (None, False, "unknown")
    assert fern["last"]["uvi"] == pytest.approx(3.6, abs=0.01)
    board = got(program, "/api/v1/boards/fern-1")
    assert (board["silent"], board["spots"], board["firmware"]) == (True, ["fern"], "test-1")
    boards = got(program, "/api/v1/boards")["boards"]
    assert [each["silent"] for each in boards] == [each["board"] == "fern-1" for each in boards]


def test_all_spots_are_each_spot(program):
    for each in got(program, "/api/v1/spots")["spots"]:
        assert got(program, f"/api/v1/spots/{each['spot']}") == each


# -- changes


def test_an_event_is_acknowledged_and_closed(program, room):
    (event,) = got(program, "/api/v1/events", open="true")["events"]
    path = f"/api/v1/events/{event['identity']}"
    seen = program.post(f"{path}/acknowledgement").json()
    assert seen["acknowledged_at"] is not None
    room.pass_s(10)
    assert program.post(f"{path}/acknowledgement").json() == seen == got(program, path)
    over = program.post(f"{path}/closing").json()
    assert over["closed_at"] is not None
    assert over["acknowledged_at"] == seen["acknowledged_at"]
    room.pass_s(10)
    assert program.post(f"{path}/closing").json() == over == got(program, path)
    assert got(program, "/api/v1/events", open="true")["events"] == []


def test_a_change_of_a_lamp_is_noted_once(program, room):
    wanted = {"date": "2026-05-28", "what": "mesh", "note": "finer, 2 mm"}
    made = program.post("/api/v1/lamps/tube/changes", json=wanted)
    assert made.status_code == 201
    assert made.json() == {**wanted, "id": 1, "time": None, "withdrawn": False}
    assert got(program, "/api/v1/lamps/tube/changes")["changes"] == [made.json()]
    again = refused(program.post("/api/v1/lamps/tube/changes", json=wanted), 409, "noted already")
    assert again["remedy"] is not None
    future = {**wanted, "date": "2026-05-31"}
    refused(program.post("/api/v1/lamps/tube/changes", json=future), 409, "still to come")
    refused(program.post("/api/v1/lamps/tube/changes", json={**wanted, "note": "a\nb"}), 409, "line of text")
    assert len(room.store.lamp_changes.of("tube")) == 1
    timed = program.post("/api/v1/lamps/tube/changes", json={**wanted, "what": "lamp", "time": "08:30"})
    assert (timed.status_code, timed.json()["time"]) == (201, "08:30")
    for odd in ("8:30", "24:00", "08:30:00", 830):
        refused(program.post("/api/v1/lamps/tube/changes", json={**wanted, "time": odd}), 422, "08:30")


def test_a_spot_is_compared_with_a_meter(program, room):
    answer = program.post("/api/v1/spots/ledge/checks", json={"reference_uvi": 2.1, "accuracy_percent": 8})
    assert answer.status_code == 201, answer.text
    made = answer.json()
    assert made["uvi"] == pytest.approx(2.0, abs=0.01)
    assert (made["reference_uvi"], made["verdict"], made["same_meter"]) == (2.1, "within", False)
    assert made["ratio"] == pytest.approx(1.05, abs=0.01)
    assert got(program, "/api/v1/spots/ledge/checks")["checks"] == [made]
    (kept,) = room.store.checks.of("ledge")
    assert kept.check_id == made["id"]


@pytest.mark.parametrize(
    ("spot", "what"),
    [("bark", "too little to compare"), ("cave", "has no calibration that could be checked")],
)
def test_what_cannot_be_compared_is_refused_and_nothing_kept(program, room, spot, what):
    said = refused(program.post(f"/api/v1/spots/{spot}/checks", json={"reference_uvi": 2.1}), 409, what)
    assert said["remedy"] is not None
    assert room.store.checks.of(spot) == []


def test_nothing_is_compared_when_nobody_watches(api):
    refused(api.post("/spots/slate/checks", json={"reference_uvi": 3.0}), 409, "baskline is not running")


# -- what cannot be meant


@pytest.mark.parametrize(
    ("path", "what"),
    [
        ("/spots/salte", "there is no spot 'salte'"),
        ("/spots/salte/days", "there is no spot 'salte'"),
        ("/spots/salte/days/2025-05-17", "there is no spot 'salte'"),
        ("/spots/salte/samples?from=2025-05-17T00:00:00Z", "there is no spot 'salte'"),
        ("/spots/salte/checks", "there is no spot 'salte'"),
        ("/lamps/lava", "there is no lamp 'lava'"),
        ("/lamps/lava/changes", "there is no lamp 'lava'"),
        ("/boards/stone", "there is no board 'stone'"),
        ("/calibrations/0", "there is no calibration '0'"),
        ("/events/none", "there is no event 'none'"),
        ("/weather", "there is nothing at this path"),
        ("/spots/", "there is nothing at this path"),
    ],
)
def test_what_is_not_there_is_a_problem_with_a_remedy(api, path, what):
    assert refused(api.get(path), 404, what)["remedy"]


@pytest.mark.parametrize(
    ("path", "where"),
    [
        ("/spots/slate/samples", "query.from"),
        ("/spots/slate/samples?from=yesterday", "query.from"),
        ("/spots/slate/samples?from=2025-05-17T10:00:00", "query.from"),
        ("/spots/slate/samples?from=2025-05-17T10:00:00Z&cursor=x", "query.cursor"),
        ("/spots/slate/samples?from=2025-05-17T10:00:00Z&limit=0", "query.limit"),
        ("/spots/slate/days?limit=1000", "query.limit"),
        ("/spots/slate/days?from=17.5.2025", "query.from"),
        ("/spots/slate/days/today", "path.date"),
        ("/events?severity=grave", "query.severity"),
        ("/events?cursor=1", "query.cursor"),
    ],
)
def test_what_cannot_be_meant_is_a_problem_that_says_where(api, path, where):
    said = refused(api.get(path), 422, "")
    assert said["where"] == where
    assert [slip["where"] for slip in said["slips"]] == [where]


def test_a_body_that_is_none_is_a_problem(api):
    json_type = {"content-type": "application/json"}
    refused(api.post("/spots/slate/checks", content=b"\xff{", headers=json_type), 400, "the body is no JSON")
    said = refused(api.post("/spots/slate/checks", json={"reference": 1}), 422, "")
    assert {slip["where"] for slip in said["slips"]} == {"body.reference_uvi", "body.reference"}
    refused(api.post("/spots/slate/checks", json={"reference_uvi": "1.9"}), 422, "valid number")


def test_a_method_that_there_is_not_names_those_that_there_are(api):
    answer = api.delete("/lamps/rock_lamp/changes")
    refused(answer, 405, "this cannot be done here")
    assert answer.headers["allow"] == "GET, POST"


def test_a_fault_of_ours_shows_no_trace(demo, monkeypatch):
    config = load_config(demo / "baskline.toml")
    desk = Desk(config, config.bridge.store, ManualClock(END_MS), may_change=True)

    def broken(*_):
        raise RuntimeError("a secret detail")

    monkeypatch.setattr(desk, "read", broken)
    client = TestClient(create_api(desk, lambda _: Access.KEEPER), raise_server_exceptions=False)
    answer = client.get("/calibrations")
    refused(answer, 500, "this is a fault in baskline")
    assert "secret" not in answer.text


def test_a_store_that_cannot_be_read_is_told_without_its_place(demo, tmp_path):
    config = load_config(demo / "baskline.toml")
    desk = Desk(config, tmp_path / "gone.db", ManualClock(END_MS), may_change=True)
    client = TestClient(create_api(desk, lambda _: Access.KEEPER))
    for path in ("/bridge", "/events", "/spots/slate/days"):
        answer = client.get(path)
        refused(answer, 503, "there is no store yet")
        assert "gone.db" not in answer.text
    desk.close()


# -- what is kept by whoever asks


@pytest.mark.parametrize("path", ["/enclosures", "/spots/slate/days/2025-05-17", "/lamps", "/calibrations"])
def test_what_has_not_changed_is_not_sent_again(api, path):
    first = api.get(path)
    assert first.headers["cache-control"] == "private, no-cache"
    again = api.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    other = api.get(path, headers={"If-None-Match": '"0"'})
    assert (other.status_code, other.content) == (200, first.content)


def test_another_content_has_another_tag(program, room):
    before = program.get("/api/v1/events").headers["etag"]
    room.happen(EventKind.UNDER_BAND, "moss", "below the band")
    assert program.get("/api/v1/events", headers={"If-None-Match": before}).status_code == 200


# -- the description


def test_the_description_is_openapi_and_all_of_it_has_words(api):
    described = got(api, "/openapi.json")
    OpenAPI.model_validate(described)
    assert described["openapi"].startswith("3.1")
    identities = []
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            identities.append(operation["operationId"])
            assert operation["summary"], path
            assert operation["description"], path
            assert operation["security"] == [{"token": []}]
            for parameter in operation.get("parameters", []):
                if parameter["in"] == "query":
                    assert parameter["description"], (path, parameter["name"])
            answers = operation["responses"]
            assert {"401", "403", "503"} <= answers.keys()
            assert ("404" in answers) == ("{" in path)
            for status, answer in answers.items():
                if status >= "400":
                    assert list(answer["content"]) == ["application/problem+json"], (path, method, status)
    assert len(set(identities)) == len(identities) >= 20


def test_every_schema_is_one_and_every_reference_leads_somewhere(api):
    described = got(api, "/openapi.json")
    schemas = described["components"]["schemas"]
    for name, schema in schemas.items():
        Draft202012Validator.check_schema(schema)
        assert schema.get("description") or "enum" in schema, f"{name} says nothing of itself"
    text = json.dumps(described)
    for part in text.split('"$ref": "')[1:]:
        name = part.split('"')[0]
        assert name.removeprefix("#/components/schemas/") in schemas, name


def test_nothing_that_is_described_or_said_holds_a_secret(program, visit, room, page_table):
    paths = ("openapi.json", "bridge", "enclosures", "spots", "boards", "lamps", "calibrations", "events")
    said = "".join(program.get(f"/api/v1/{path}").text for path in paths)
    for line in page_table.splitlines():
        if "=" in line:
            secret = Path(line.split('"')[1])
            assert str(secret.parent) not in said
            assert secret.read_text().split("$")[-1].strip()[:12] not in said
    assert "password" not in said.replace("baskline password", "")


def test_the_desk_of_the_page_and_of_the_interface_are_one(room: PageRoom, program: Visitor) -> None:
    assert got(program, "/api/v1/bridge")["watched"] is True
