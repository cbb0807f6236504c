"""Pages: all of them together are the one big answer, and what comes meanwhile doubles nothing."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exposure.days import day_bounds
from exposure.events import EventKind
from exposure.kinds import new_event
from firmware_host.clock import ManualClock
from ingest.assigning import read_calibrations, record_assignments
from ingest.history import History
from ingest.mqtt.payloads import iso_utc
from ingest.store.batch import StampedBatch
from ingest.store.store import Store
from tests.baskline.api.conftest import TOKEN
from tests.baskline.making import VIENNA
from tests.baskline.page.rooms import PageRoom, Visitor

DAY = date(2026, 5, 20)
BEGIN_MS = day_bounds(DAY, VIENNA).start_ms
HOUR_MS = 3_600_000


class Shelf:
    """A room with events, and samples over midnights and a change of calibration, that can become more."""

    def __init__(self, folder, page_table):
        self.room = PageRoom(folder, page=page_table)
        self.room.clock = ManualClock(BEGIN_MS)
        self.room.watch()
        self.n = 0
        self.add(range(0, 50 * HOUR_MS, 90_000))
        held = self.store.assignments.timeline("ledge", 0, 1 << 45)[-1].assignment
        self.store.assignments.recalibrate(
            "ledge", "", BEGIN_MS + 30 * HOUR_MS, to_ms=BEGIN_MS + 31 * HOUR_MS
        )
        assert held.calibration
        self.room.clock.advance_ms(51 * HOUR_MS)
        for hour in range(40):  # some at the same moment
            self.happen(BEGIN_MS + hour // 2 * HOUR_MS, ("ledge", "fern")[hour % 2])

    @property
    def store(self) -> Store:
        return self.room.store

    def add(self, after_ms):
        times = BEGIN_MS + np.array(after_ms, np.int64)
        values = np.column_stack([700.0 + np.arange(len(times)) % 50, np.full(len(times), 25.0)])
        seq = np.arange(self.n, self.n + len(times), dtype=np.int64)
        self.n += len(times)
        marks = np.zeros(len(times), np.uint32)
        channels = ("uva_counts", "temperature_c")
        batch = StampedBatch("ledge-1", "0a1b2c3d", channels, seq, times, values, marks)
        self.store.readings.append([batch])

    def happen(self, opened_ms, spot):
        self.store.events.put(new_event(EventKind.UNDER_BAND, spot, opened_ms, "below the band", {}))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory, page_table):
    made = Shelf(tmp_path_factory.mktemp("shelf"), page_table)
    yield made
    made.room.stop_watching()


@pytest.fixture(scope="module")
def program(shelf):
    with Visitor(shelf.room.app(), headers={"Authorization": f"Bearer {TOKEN}"}) as visitor:
        yield visitor


def got(program, path, query):
    answer = program.get(f"/api/v1{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def pages(program, path, query, *, between=lambda: None):
    """Return the page's documents, one after the other."""
    found = [got(program, path, query)]
    while found[-1]["next"] is not None:
        between()
        found.append(got(program, path, {**query, "cursor": found[-1]["next"]}))
    return found


def times():
    return st.integers(BEGIN_MS - HOUR_MS, BEGIN_MS + 52 * HOUR_MS)


def few(n_examples):
    """Requests take some ms each."""
    return settings(
        deadline=None, max_examples=n_examples, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )


@few(12)
@given(times(), times(), st.integers(37, 1200))
def test_all_pages_of_samples_are_what_the_history_has(shelf, program, from_ms, to_ms, limit):
    query = {"from": iso_utc(from_ms), "to": iso_utc(to_ms), "limit": limit}
    found = pages(program, "/spots/ledge/samples", query)
    assert all(len(page["samples"]) <= limit for page in found)
    listed = [sample for page in found for sample in page["samples"]]
    expected = History(shelf.store).samples("ledge", from_ms, to_ms)
    assert [sample["time_utc"] for sample in listed] == [iso_utc(ms) for ms in expected.utc_ms.tolist()]
    uvi = np.array([np.nan if sample["uvi"] is None else sample["uvi"] for sample in listed])
    assert np.allclose(uvi, expected.uvi, atol=6e-5, equal_nan=True)
    assert any("uncalibrated" in sample["flags"] for sample in listed) == bool(np.isnan(expected.uvi).any())


def test_samples_that_come_meanwhile_are_doubled_nowhere(shelf, program):
    after_ms = iter(range(50 * HOUR_MS, 51 * HOUR_MS, 60_000))
    query = {"from": iso_utc(BEGIN_MS + 45 * HOUR_MS), "limit": 40}

    def between():
        shelf.add([next(after_ms)])

    listed = [
        sample["time_utc"]
        for page in pages(program, "/spots/ledge/samples", query, between=between)
        for sample in page["samples"]
    ]
    assert listed == sorted(set(listed))
    assert len(listed) > 200  # 5 h at one each 90 s, and some of those that came
    again = {
        sample["time_utc"]
        for sample in got(program, "/spots/ledge/samples", {**query, "limit": 9999})["samples"]
    }
    assert set(listed) <= again


@few(10)
@given(
    st.dates(DAY - timedelta(2), DAY + timedelta(4)),
    st.dates(DAY - timedelta(2), DAY + timedelta(4)),
    st.integers(1, 4),
)
def test_all_pages_of_days_are_the_one_answer(program, first, last, limit):
    query = {"from": first.isoformat(), "to": last.isoformat()}
    whole = got(program, "/spots/ledge/days", {**query, "limit": 100})
    assert whole["next"] is None
    found = pages(program, "/spots/ledge/days", {**query, "limit": limit})
    assert all(len(page["days"]) <= limit for page in found)
    assert [day for page in found for day in page["days"]] == whole["days"]
    seen = [DAY + timedelta(number) for number in range(3)]
    assert [day["date"] for day in whole["days"]] == [day.isoformat() for day in seen if first <= day <= last]


@few(15)
@given(st.integers(1, 50), st.sampled_from([{}, {"subject": "fern"}, {"open": "true"}]), times(), times())
def test_all_pages_of_events_are_the_one_answer(program, limit, chosen, from_ms, to_ms):
    query = {"from": iso_utc(from_ms), "to": iso_utc(to_ms), **chosen}
    whole = got(program, "/events", {**query, "limit": 500})
    assert whole["next"] is None
    found = pages(program, "/events", {**query, "limit": limit})
    assert all(len(page["events"]) <= limit for page in found)
    assert [event for page in found for event in page["events"]] == whole["events"]


def test_events_that_open_meanwhile_come_once_and_at_the_end(shelf, program):
    opened_ms = iter(range(BEGIN_MS + 51 * HOUR_MS, BEGIN_MS + 52 * HOUR_MS, 60_000))
    before = [event["identity"] for event in got(program, "/events", {"limit": 500})["events"]]
    found = pages(program, "/events", {"limit": 7}, between=lambda: shelf.happen(next(opened_ms), "moss"))
    listed = [event["identity"] for page in found for event in page["events"]]
    assert listed[: len(before)] == before
    assert len(set(listed)) == len(listed) > len(before)


def test_a_spot_that_was_never_watched_has_empty_pages(tmp_path, page_table):
    room = PageRoom(tmp_path, page=page_table)
    Store.open(room.config.bridge.store).close()
    with Visitor(room.app(), headers={"Authorization": f"Bearer {TOKEN}"}) as program:
        samples = got(program, "/spots/ledge/samples", {"from": "2026-05-20T00:00:00Z"})
        assert samples == {"spot": "ledge", "samples": [], "next": None}
        assert got(program, "/spots/ledge/days", {}) == {"spot": "ledge", "days": [], "next": None}
        assert got(program, "/events", {}) == {"events": [], "next": None}
        assert got(program, "/lamps", {})["lamps"][0]["spots"] == []
        assert got(program, "/spots/ledge", {})["last"] is None


def test_a_clock_that_began_in_1970_does_not_make_an_answer_endless(tmp_path, page_table):
    room = PageRoom(tmp_path, page=page_table)
    with Store.open(room.config.bridge.store) as store:
        record_assignments(store, room.config, read_calibrations(room.config), 0)
        store.begin_run(room.clock.moment())
        batch = StampedBatch(
            "ledge-1",
            "0a1b2c3d",
            ("uva_counts", "temperature_c"),
            np.arange(2, dtype=np.int64),
            np.array([5_000, room.now_ms], np.int64),
            np.array([[700.0, 25.0], [700.0, 25.0]]),
            np.zeros(2, np.uint32),
        )
        store.readings.append([batch])
    with Visitor(room.app(), headers={"Authorization": f"Bearer {TOKEN}"}) as program:
        for path, query in (("samples", {"from": "1970-01-01T00:00:00Z"}), ("days", {})):
            found = pages(program, f"/spots/ledge/{path}", {**query, "limit": 100})
            assert sum(len(page[path]) for page in found) == 2
            assert 10 < len(found) < 300
