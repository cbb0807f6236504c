"""The control chart of a spot's checks: verdicts in words and shapes, limits, weighted mean, signals."""

from dataclasses import replace

import numpy as np
import pytest

from baskline.charts.checks import checks_drawing, checks_spec
from calibrate.control_chart import chart_of_checks
from calibrate.spot_check import Verdict, verdict_of
from ingest.checking import series_of
from ingest.config import load_config
from ingest.store.store import Store
from tests.baskline.invented import keeps_to_its_sheet, past_room
from tests.baskline.pictures import words_of

vl_convert = pytest.importorskip("vl_convert")

SORTS = ["slate", "thyme", "three", "one", "drifting", "out"]


@pytest.fixture(scope="module")
def gallery(tmp_path_factory):
    config = load_config(past_room(tmp_path_factory).config_file)
    with Store.open(config.bridge.store) as store:
        known = {spot: store.checks.of(spot) for spot in ("slate", "thyme")}

    def of(spot, checks):
        drawing = checks_drawing(
            config.spots[spot].label, series_of(checks, checks[0].calibration), config.bridge.time_zone
        )
        assert drawing is not None
        return drawing

    def with_ratios(ratios, e_n):
        drawing = of("thyme", known["thyme"])
        checks = tuple(
            replace(check, ratio=ratio, e_n=each)
            for check, ratio, each in zip(drawing.checks, ratios, e_n, strict=True)
        )
        chart = chart_of_checks(np.array(ratios), np.array([check.u_ratio for check in checks]))
        return replace(drawing, checks=checks, chart=chart)

    return {
        "slate": of("slate", known["slate"]),
        "thyme": of("thyme", known["thyme"]),
        "three": of("thyme", known["thyme"][:3]),
        "one": of("thyme", known["thyme"][:1]),
        "drifting": with_ratios([1.0, 1.01, 1.0, 1.0, 1.01, 1.03, 1.06, 1.08], [0.1] * 8),
        "out": with_ratios([1.0, 1.0, 1.0, 1.0, 1.01, 1.0, 1.0, 1.4], [0.1] * 7 + [-2.4]),
    }


def words(drawing, **more):
    return words_of(vl_convert.vegalite_to_svg(checks_spec(drawing, **more)))


def rows(drawing, name):
    return checks_spec(drawing)["datasets"].get(name, [])


@pytest.mark.parametrize(("width_px", "dark"), [(760, False), (360, True)])
@pytest.mark.parametrize("sort", SORTS)
def test_it_keeps_to_its_sheet(gallery, sort, width_px, dark):
    keeps_to_its_sheet(lambda **how: checks_spec(gallery[sort], **how), width_px, dark=dark)


def test_before_the_first_check_there_is_no_chart():
    assert checks_drawing("Slate ledge", series_of([], "x"), "Europe/Vienna") is None


@pytest.mark.parametrize("sort", SORTS)
def test_each_check_is_a_point_with_its_interval_in_the_shape_of_its_verdict(gallery, sort):
    drawing = gallery[sort]
    assert len(rows(drawing, "intervals")) == len(drawing.checks)
    for verdict in Verdict:
        days = [row["ratio"] for row in rows(drawing, verdict.value)]
        wanted = [check.ratio for check in drawing.checks if verdict_of(check.e_n) is verdict]
        assert days == pytest.approx(wanted, abs=1e-4)
    shapes = [layer["mark"].get("shape") for layer in checks_spec(drawing)["layer"]]
    seen = {verdict_of(check.e_n) for check in drawing.checks}
    assert len({shape for shape in shapes if shape}) == len(seen)


def test_what_is_not_within_is_named_in_words(gallery):
    assert "doubtful" in words(gallery["slate"])
    assert any(each.startswith("out") for each in words(gallery["out"]))
    said = " ".join(words(gallery["thyme"]))
    assert "8 within" in said
    assert "doubtful" not in said


def test_signals_of_the_chart_are_named_at_their_check(gallery):
    assert any("drift" in each for each in words(gallery["drifting"]))
    assert any("beyond a limit" in each for each in words(gallery["out"]))
    assert any("the chart says: " in each for each in words(gallery["drifting"]))


def test_limits_and_the_weighted_mean_are_named_beside_their_lines(gallery):
    chart = gallery["thyme"].chart
    said = words(gallery["thyme"])
    assert {f"limit {chart.high:.2f}", f"limit {chart.low:.2f}", "weighted mean"} <= set(said)
    assert [row["mean"] for row in rows(gallery["thyme"], "means")] == pytest.approx(chart.ewma, abs=1e-4)


def test_words_in_the_margin_keep_apart(gallery):
    for drawing in gallery.values():
        heights = sorted(row["y"] for row in rows(drawing, "line_names"))
        assert np.diff(heights).min() >= 12


def test_few_checks_say_where_their_limits_come_from(gallery):
    assert any("before 8 checks" in each for each in words(gallery["three"]))
    assert not any("before 8 checks" in each for each in words(gallery["thyme"]))
