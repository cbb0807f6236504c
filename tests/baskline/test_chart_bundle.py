"""The page's chart code: made once, whole, and at work in a browser that forbids eval and inline scripts."""

import functools
import gzip
import http.server
import json
import os
import threading
from datetime import timedelta
from pathlib import Path

import altair
import pytest
from jsonschema import ValidationError

from baskline.charts import bundle
from baskline.charts.bundle import bundle_beside, bundle_path
from baskline.charts.calibration import calibration_spec
from baskline.charts.checks import checks_drawing, checks_spec
from baskline.charts.day import day_spec
from baskline.charts.days import days_drawing, days_spec
from baskline.charts.drawing import drawing_of
from baskline.charts.errors import ChartError
from baskline.charts.gradient import gradient_drawing, gradient_spec
from baskline.charts.lamp import lamp_drawing, lamp_spec
from baskline.children import Children
from calibrate.calibration_file import read_calibration
from ingest.checking import series_of
from ingest.config import load_config
from ingest.day import spot_day
from ingest.day_records import DayRecords
from ingest.lamp_views import lamp_views
from ingest.store.store import Store
from tests.baskline.invented import past_room

pytest.importorskip("vl_convert")

CHROMIUM = Path("/usr/bin/chromium")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self';"
    " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
PAGE = """<!doctype html><html lang="en"><title>charts</title><link rel="icon" href="icon.svg"><body>
<script src="charts.js"></script><script src="page.js"></script></body></html>"""
SCRIPT = """
const drawAll = async () => {
  for (const [name, spec] of Object.entries(await (await fetch("specs.json")).json())) {
    const place = document.createElement("div");
    place.id = name;
    document.body.append(place);
    await baskline_charts.draw(place, spec);
  }
};
globalThis.drawn = drawAll();
"""


@pytest.fixture(scope="module")
def script(tmp_path_factory):
    return bundle_beside(tmp_path_factory.mktemp("store") / "baskline.db")


def test_it_is_made_once_and_kept(script, monkeypatch):
    store = script.parent / "baskline.db"
    assert script == bundle_path(store)
    made = script.stat()
    monkeypatch.setattr(Children, "run", None)
    assert bundle_beside(store) == script
    assert script.stat() == made
    assert list(script.parent.iterdir()) == [script]


def test_it_weighs_little_enough_for_a_phone(script):
    data = script.read_bytes()
    assert 500_000 < len(data) < 1_100_000
    assert len(gzip.compress(data)) < 360_000


def test_another_version_of_the_drawing_package_has_another_file(script, tmp_path, monkeypatch):
    store = tmp_path / "baskline.db"
    old = tmp_path / "baskline.db.charts-0.0.1.js"
    old.write_text("old")
    monkeypatch.setattr(bundle, "version", lambda name: "999.0")
    monkeypatch.setattr(Children, "run", lambda _self, _module, path, **_: _make(path))
    path = bundle_beside(store)
    assert path.name == "baskline.db.charts-999.0.js"
    assert not old.exists()


class _Done:
    returncode = 0
    stderr = b""


def _make(path):
    Path(path).write_text("new")
    return _Done()


def test_a_folder_that_cannot_be_written_is_told_and_nothing_half_is_left(tmp_path):
    folder = tmp_path / "gone"
    with pytest.raises(ChartError, match="cannot be made"):
        bundle_beside(folder / "baskline.db")


@pytest.fixture(scope="module")
def specs(tmp_path_factory):
    """Each chart once, of the invented room."""
    scenario = past_room(tmp_path_factory)
    config = load_config(scenario.config_file)
    with Store.open(config.bridge.store) as store:
        day = scenario.day.date - timedelta(days=1)
        shown = {
            key: spot_day(
                store,
                key,
                day,
                board=config.boards[spot.board].identity,
                time_zone=config.bridge.time_zone,
                band_now=spot.band(),
            )
            for key, spot in config.spots.items()
        }
        records = DayRecords(store, config).of("slate", day - timedelta(days=36), day)
        lamp = lamp_views(store, config, day)[0]
        calibration = read_calibration(config.spots["slate"].calibration)
        checks = series_of(store.checks.of("slate"), calibration.identity)
        now_ms = scenario.day.start_ms
        rock = [shown["slate"], shown["crevice"]]
        return {
            "day": day_spec(drawing_of(shown["slate"], config, now_ms), dark=True),
            "days": days_spec(days_drawing("Slate ledge", records, day)),
            "lamp": lamp_spec(lamp_drawing(lamp, config, day)),
            "checks": checks_spec(checks_drawing("Slate ledge", checks, config.bridge.time_zone)),
            "gradient": gradient_spec(gradient_drawing("Rock garden", rock, config, now_ms)),
            "calibration": calibration_spec(calibration, None),
        }


@pytest.mark.parametrize("kind", ["day", "days", "lamp", "checks", "gradient", "calibration"])
def test_every_chart_is_as_the_published_schema_says(specs, kind):
    altair.LayerChart.from_dict(specs[kind])
    wrong = json.loads(json.dumps(specs[kind]))
    wrong["layer"][0]["mark"]["strokeWidht"] = 1
    with pytest.raises(ValidationError):
        altair.LayerChart.from_dict(wrong)


@pytest.fixture(scope="module")
def site(tmp_path_factory, script, specs):
    """The address of a page that forbids all that is not its own."""
    folder = tmp_path_factory.mktemp("site")
    (folder / "charts.js").write_bytes(script.read_bytes())
    (folder / "page.js").write_text(SCRIPT)
    (folder / "index.html").write_text(PAGE)
    (folder / "icon.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    (folder / "specs.json").write_text(json.dumps(specs))

    class Strict(http.server.SimpleHTTPRequestHandler):
        def end_headers(self):
            self.send_header("Content-Security-Policy", POLICY)
            super().end_headers()

        def log_message(self, *_):
            pass

    handler = functools.partial(Strict, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()
        thread.join()


def test_a_browser_draws_every_chart_under_a_strict_policy_without_a_complaint(site, specs):
    playwright = pytest.importorskip("playwright.sync_api")
    if not CHROMIUM.exists():
        assert "CI" not in os.environ, "there is no Chromium"
        pytest.skip("there is no Chromium: sudo apt-get install -y chromium")
    complaints, asked = [], []
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(site)
        page.evaluate("drawn")
        for name, spec in specs.items():
            place = page.locator(f"#{name}")
            assert place.get_attribute("role") == "img"
            assert place.get_attribute("aria-label") == spec["description"]
            colours = place.locator("canvas").evaluate(
                """canvas => {
                  const {width, height} = canvas;
                  const {data} = canvas.getContext("2d").getImageData(0, 0, width, height);
                  return new Set(new Uint32Array(data.buffer)).size;
                }"""
            )
            assert colours > 20, name
        assert page.locator("style, form, details").count() == 0
        browser.close()
    assert complaints == []
    assert all(url.startswith(site) for url in asked)
