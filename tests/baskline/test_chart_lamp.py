"""The chart of a lamp: levels, burn-in, trend, forecast, steps and changes, each in words too."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from baskline.charts.lamp import lamp_drawing, lamp_spec
from exposure.bands import Band
from exposure.lamp_days import LampDay
from exposure.lamps import LampState, lamp_report
from ingest.config import load_config
from ingest.lamp_views import lamp_views
from ingest.store.store import Store
from tests.baskline.invented import keeps_to_its_sheet, past_room
from tests.baskline.pictures import words_of

vl_convert = pytest.importorskip("vl_convert")

FRIDAY = date(2025, 5, 16)
WANTED = Band(1.0, 2.6, 7.4)
SORTS = ["slate", "crevice", "thyme", "hay_rick", "fern", "first week", "soon", "long", "too weak"]


def lamp_days(n, per_week, level_uvi=2.4):
    first = FRIDAY - timedelta(days=n - 1)
    rng = np.random.default_rng(3)
    return [
        LampDay(
            first + timedelta(days=i),
            1.0,
            12.0,
            1,
            float(level_uvi * (1 + per_week) ** (i / 7) * np.exp(rng.normal(0, 0.004))),
            0.1,
            5.0,
        )
        for i in range(n)
    ]


@pytest.fixture(scope="module")
def gallery(tmp_path_factory):
    config = load_config(past_room(tmp_path_factory).config_file)
    with Store.open(config.bridge.store) as store:
        shown = {view.spot: lamp_drawing(view, config, FRIDAY) for view in lamp_views(store, config, FRIDAY)}
    band = WANTED

    def made(days, hours_before=0.0):
        report = lamp_report(days, band, hours_before=hours_before)
        since = days[0].date
        return replace(
            shown["thyme"], days=days, since=since, report=report, hours_before=hours_before, band=band
        )

    shown["first week"] = made(lamp_days(6, 0.0))
    shown["soon"] = made(lamp_days(60, 0.01, level_uvi=2.2), hours_before=500.0)
    shown["long"] = made(lamp_days(400, -0.002), hours_before=500.0)
    shown["too weak"] = made(lamp_days(60, -0.02, level_uvi=1.1), hours_before=500.0)
    return {sort: shown[sort] for sort in SORTS}


def words(drawing, **more):
    return words_of(vl_convert.vegalite_to_svg(lamp_spec(drawing, **more)))


def rows(drawing, name):
    return lamp_spec(drawing)["datasets"].get(name, [])


@pytest.mark.parametrize(("width_px", "dark"), [(760, False), (360, True)])
@pytest.mark.parametrize("sort", SORTS)
def test_it_keeps_to_its_sheet(gallery, sort, width_px, dark):
    keeps_to_its_sheet(lambda **how: lamp_spec(gallery[sort], **how), width_px, dark=dark)


def test_each_day_has_its_level_and_a_missing_day_breaks_the_interval(gallery):
    slate = gallery["slate"]
    dots = rows(slate, "levels")
    assert [dot["day"] for dot in dots] == [day.date.isoformat() for day in slate.days]
    assert "2025-04-14" not in {dot["day"] for dot in dots}
    parts = {row["day"]: row["part"] for row in rows(slate, "level_intervals")}
    assert parts["2025-04-13"] != parts["2025-04-15"] == parts["2025-05-16"]


def test_a_fading_lamp_says_how_fast_until_when_and_how_sure(gallery):
    slate = gallery["slate"]
    said = " ".join(words(slate))
    assert "fading: −1." in said
    forecast = slate.report.forecasts[0]
    assert f"leaves the band downwards about {forecast.expected.day} {forecast.expected:%b} 2025" in said
    assert f"({forecast.earliest.day} {forecast.earliest:%b} to " in said
    assert "replace by" in said
    assert f"baseline {slate.report.baseline_uvi:.2f}" in said


def test_the_fan_meets_the_limit_on_the_forecasts_own_days(gallery):
    soon = gallery["soon"]
    spec = lamp_spec(soon)
    forecast = min(soon.report.forecasts, key=lambda each: each.expected)
    (bar,) = spec["datasets"]["forecast"]
    ribbon = spec["datasets"]["ahead_interval"]
    x = np.array([row["x"] for row in ribbon])
    high = np.array([min(row["y"], row["y2"]) for row in ribbon])
    assert np.interp(bar["x"], x, high) == pytest.approx(bar["y"], abs=1.5)
    assert "leaves the band upwards" in " ".join(words(soon))
    days = (forecast.earliest - soon.days[0].date).days
    assert bar["x"] == pytest.approx(spec["datasets"]["levels"][1]["x"] * days, abs=2)


def test_of_a_lamp_that_has_left_its_band_the_fan_goes_on_downwards(gallery):
    weak = gallery["too weak"]
    assert weak.report.level_uvi < 1.0
    assert "is below the band" in words(weak)
    assert rows(weak, "forecast") == []
    ribbon = rows(weak, "ahead_interval")
    assert all(row["y"] >= ribbon[0]["y"] - 0.1 and row["y2"] >= ribbon[0]["y2"] - 0.1 for row in ribbon)


def test_hours_that_nobody_saw_count_for_the_burn_in_as_in_the_report(gallery):
    days = [*lamp_days(20, 0.0)[:4], *lamp_days(20, 0.0)[9:]]  # 48 hours seen, then five days not
    drawing = replace(gallery["first week"], days=days, since=days[0].date, report=lamp_report(days, WANTED))
    assert drawing.report.state is not LampState.BURNING_IN
    assert drawing.seasoned == days[4].date
    (box,) = rows(drawing, "burn_in")
    per_day = rows(drawing, "levels")[1]["x"]
    assert box["x2"] == pytest.approx(4 * per_day, abs=0.1)


def test_a_new_lamp_has_its_burn_in_shaded_and_named(gallery):
    thyme = gallery["thyme"]
    said = words(thyme)
    assert "new lamp 5 Apr" in said
    assert "burn-in, first 100 h" in said
    (box,) = rows(thyme, "burn_in")
    day_px = rows(thyme, "levels")[1]["x"] - rows(thyme, "levels")[0]["x"]
    assert (box["x2"] - box["x"]) / day_px == pytest.approx(100 / 12, abs=1.2)
    trend = rows(thyme, "trend")
    assert min(row["x"] for row in trend) >= box["x2"] - day_px - 0.1  # no verdict on what burns in
    assert "burn-in, first 100 h" not in words(gallery["slate"])


def test_a_step_is_told_from_ageing(gallery):
    said = words(gallery["crevice"])
    assert any(each.startswith("a step of −2") and each.endswith(" % on 22 Apr") for each in said)
    assert not any(each.startswith("a step") for each in words(gallery["slate"]))


def test_a_steady_lamp_has_no_date(gallery):
    thyme = gallery["thyme"]
    assert thyme.report.state is LampState.STEADY
    assert rows(thyme, "forecast") == []
    assert not any("about" in each and "2025" in each for each in words(thyme))


def test_a_lamp_of_a_few_days_gets_no_verdict(gallery):
    said = " ".join(words(gallery["first week"]))
    assert "burning in: no verdict yet" in said
    assert rows(gallery["first week"], "trend") == []


def test_a_spot_without_uvi_says_that_no_level_is_known(gallery):
    said = words(gallery["hay_rick"])
    assert "no level known" in said
    assert rows(gallery["hay_rick"], "levels") == []


def test_an_axis_that_does_not_begin_at_nothing_says_so(gallery):
    assert any("the axis begins at UVI 2." in each for each in words(gallery["slate"]))
    assert not any("the axis begins" in each for each in words(gallery["crevice"]))
