import http.server
import threading
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from firmware_host.clock import SystemClock
from ingest.mirror.server import probe_mirror
from ingest.mirror.settings import MirrorError
from ingest.mirror.thread import Mirror
from ingest.store.store import Store


def drain(feed):
    steps = 0
    while feed.step()[0]:
        steps += 1
    return steps


@contextmanager
def answering(*statuses, before=None):
    """A server that gives these answers, one after the other, and keeps what it was sent."""
    answers = list(statuses)
    bodies = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            bodies.append(self.rfile.read(int(self.headers["Content-Length"])).decode())
            if before is not None:
                before()
            self.send_response(answers.pop(0))
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    with http.server.HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}", bodies
        finally:
            server.shutdown()
            thread.join()


def test_every_reading_arrives_with_its_uvi_and_its_raw_channels(store, make_batch, feed, settings, victoria):
    batch = make_batch(0, 100)
    store.readings.append([batch])
    drain(feed(settings))
    got = victoria.points(settings.site, 100)
    times_ms = batch.utc_ms.tolist()
    counts = got["spot_uva_counts", "ledge", "room"]
    assert counts == list(zip(times_ms, batch.values[:, 0].tolist(), strict=True))
    uvi = got["spot_uvi", "ledge", "room"]
    assert [at for at, _ in uvi] == times_ms
    np.testing.assert_allclose([value for _, value in uvi], 0.0031 * np.arange(100), atol=1e-12)
    assert [at for at, _ in got["spot_u_uvi", "ledge", "room"]] == times_ms


def test_what_is_missing_is_no_field_and_never_zero(store, make_batch, feed, settings, victoria):
    store.readings.append([make_batch(0, 20)])
    drain(feed(settings))
    got = victoria.points(settings.site, 20)
    assert len(got["spot_temperature_c", "ledge", "room"]) == 18
    assert ("spot_uvi", "shelf", "room") not in got, "an uncalibrated spot has no UVI"
    assert {value for _, value in got["spot_flags", "shelf", "room"]} == {1.0}


def test_only_spots_that_the_board_watches_have_its_readings(store, make_batch, feed, settings, victoria):
    store.readings.append([make_batch(0, 5, board="uv-2"), make_batch(100, 5)])
    drain(feed(settings, ("ledge",)))
    assert len(victoria.points(settings.site, 5)["spot_uvi", "ledge", "room"]) == 5


def test_a_backlog_goes_in_portions_and_only_what_is_new_goes_again(
    store, make_batch, feed, settings, victoria
):
    for first in range(0, 12_000, 500):
        store.readings.append([make_batch(first, 500)])
    one = feed(settings, ("ledge",))
    assert drain(one) == 3
    assert len(victoria.points(settings.site, 12_000)["spot_uvi", "ledge", "room"]) == 12_000
    assert drain(one) == 0
    store.readings.append([make_batch(12_000, 1)])
    assert drain(feed(settings, ("ledge",))) == 1, "the cursor outlives the feed"


def test_sending_twice_changes_nothing(store, make_batch, feed, settings, victoria):
    store.readings.append([make_batch(0, 50)])
    one = feed(settings)
    drain(one)
    before = victoria.points(settings.site, 50)
    store.cursors.set(f"mirror {settings.url}", 0)
    store.readings.append([make_batch(50, 1)])
    drain(one)
    after = victoria.points(settings.site, 51)
    assert {key: points[:-1] for key, points in after.items()} == before


def test_lines_pass_the_strict_judge_and_read_back_the_same(store, make_batch, feed, settings, judge):
    batch = make_batch(0, 30)
    store.readings.append([batch])
    lines = list(feed(settings)._lines.lines(batch))
    assert len(lines) == 60
    assert judge.write(["this is no line"]) == 400, "the judge must be able to say no"
    assert judge.write(lines) == 204
    rows = judge.ask(f"SELECT * FROM spot WHERE spot = 'ledge' AND site = '{settings.site}'")
    assert [row["time"] for row in rows] == batch.utc_ms.tolist()
    assert [row["uva_counts"] for row in rows] == batch.values[:, 0].tolist()
    assert [row["temperature_c"] for row in rows[8:10]] == [31.25, None]
    assert {(row["site"], row["bridge"], row["board"], row["flags"]) for row in rows} == {
        (settings.site, "room", "uv-1", 0)
    }


def test_a_server_that_is_away_loses_nothing(store, make_batch, feed, settings, victoria):
    store.readings.append([make_batch(0, 10)])
    one = feed(settings)
    victoria.stop()
    try:
        with pytest.raises(MirrorError, match="no connection") as caught:
            one.step()
        assert "mirror.url" in caught.value.remedy
    finally:
        victoria.start()
    store.readings.append([make_batch(10, 10)])
    drain(one)
    assert len(victoria.points(settings.site, 20)["spot_uvi", "ledge", "room"]) == 20


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (401, "refuses this token"),
        (403, "refuses this token"),
        (404, "knows no bucket 'uv'"),
        (503, "cannot write now"),
    ],
)
def test_a_refusal_is_said_in_words_and_the_portion_kept(store, make_batch, feed, settings, status, words):
    store.readings.append([make_batch(0, 10)])
    with answering(status, 204) as (url, bodies):
        one = feed(replace(settings, url=url))
        with pytest.raises(MirrorError, match=words):
            one.step()
        assert one.step() == (True, None)
        assert bodies[0] == bodies[1]


def test_lines_that_the_server_will_never_take_do_not_hold_up_the_rest(store, make_batch, feed, settings):
    store.readings.append([make_batch(0, 10)])
    with answering(400) as (url, _):
        one = feed(replace(settings, url=url))
        more, complaint = one.step()
        assert more
        assert "left out some points" in str(complaint)
        assert one.step() == (False, None)


def test_readings_restamped_while_on_their_way_are_sent_again(store, make_batch, feed, settings):
    store.readings.append([make_batch(0, 3)])
    (batch,) = store.readings.since(0, 10)[0]

    def correct_the_clock():
        if len(bodies) == 1:
            with Store.open(store._database.path) as other:
                other._runs.restamp(1, 7_000, other.readings._rows.newest_batch(), clock_sure=True)

    with answering(204, 204, before=correct_the_clock) as (url, bodies):
        one = feed(replace(settings, url=url), ("ledge",))
        assert drain(one) == 2
    times_ms = [int(line.rsplit(" ", 1)[1]) for line in bodies[1].splitlines()]
    assert times_ms == (batch.utc_ms + 7_000).tolist()


def test_the_token_is_sent_and_does_not_show(settings):
    assert "sesame" not in repr(replace(settings, token="sesame"))


def test_a_probe_writes_one_point_or_says_what_is_wrong(settings, victoria):
    assert probe_mirror(settings, SystemClock()) is None
    assert len(victoria.points(settings.site, 1)["check_ok", "", "room"]) == 1
    with answering(401) as (url, _):
        assert "refuses this token" in str(probe_mirror(replace(settings, url=url), SystemClock()))


def test_the_thread_feeds_the_server_and_stops(store, store_path, make_batch, settings, victoria):
    store.readings.append([make_batch(0, 40)])
    arrived = threading.Event()
    reports = []
    mirror = Mirror(settings, lambda: watched(Store.open(store_path), arrived), ["ledge"], reports.append)
    mirror.start()
    assert arrived.wait(30)
    mirror.stop(30)
    assert reports == []
    assert not mirror._thread.is_alive()
    assert len(victoria.points(settings.site, 40)["spot_uvi", "ledge", "room"]) == 40


def watched(store, moved):
    """Say when the cursor moves."""
    move = store.cursors.set

    def set_and_tell(name, position):
        move(name, position)
        if not name.endswith("on its way"):
            moved.set()

    store.cursors.set = set_and_tell
    return store


def test_the_thread_reports_a_trouble_once_and_goes_on_trying(store, store_path, make_batch, settings):
    store.readings.append([make_batch(0, 1)])
    arrived = threading.Event()
    reports = []
    with answering(401, 401, 204) as (url, bodies):
        own = replace(settings, url=url)
        mirror = Mirror(own, lambda: watched(Store.open(store_path), arrived), ["ledge"], reports.append)
        mirror.start()
        assert arrived.wait(30)
        mirror.stop(30)
    assert len(bodies) == 3
    assert len(reports) == 1
    assert mirror.trouble is None
