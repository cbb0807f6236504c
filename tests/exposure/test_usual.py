from datetime import date, timedelta

import numpy as np
import pytest

from exposure.bands import Band
from exposure.days import day_bounds, local_time_ms
from exposure.gradient import gradient
from exposure.lamp_days import lamp_day
from exposure.profile import day_profile
from exposure.usual import compare_day, day_figures, usual_of
from tests.exposure.series import samples_of

BAND = Band(1.0, 2.6, 2.9)
ZONE = "Europe/Berlin"
TODAY = date(2024, 4, 10)


def samples(on, *, uvi=2.0, from_minute=480, hours=12.0, seen=1.0, u_uvi=0.1):
    bounds = day_bounds(on, ZONE)
    first_ms = local_time_ms(on, from_minute, ZONE)
    at_ms = np.arange(bounds.start_ms, bounds.start_ms + seen * (bounds.end_ms - bounds.start_ms) + 1, 60_000)
    lit = (at_ms >= first_ms) & (at_ms < first_ms + hours * 3_600_000)
    return samples_of(at_ms.astype(np.int64), np.where(lit, uvi, 0.0), u_uvi)


def profile(on, **more):
    return day_profile(samples(on, **more), BAND, day_bounds(on, ZONE), max_gap_s=150)


def figures(on, **more):
    lamp = lamp_day(samples(on, **more), day_bounds(on, ZONE), max_gap_s=150)
    return day_figures(profile(on, **more), lamp)


def before(n=30, **more):
    rng = np.random.default_rng(3)
    days = [TODAY - timedelta(days=back) for back in range(1, n + 1)]
    return {on: figures(on, uvi=rng.normal(2.0, 0.02), **more) for on in days}


def test_the_usual_is_not_moved_by_one_odd_day():
    usual = usual_of([2.0, 2.1, None, 1.9, 2.0, 50.0])
    assert (usual.median, usual.n_days) == (2.0, 5)
    assert usual.scatter == pytest.approx(0.148, abs=0.001)
    assert usual_of([1.0, 2.0, 3.0, 4.0]) is None


def test_a_day_like_the_week_and_the_month_before_is_not_unlike_them():
    compared = compare_day(TODAY, figures(TODAY), before())
    assert compared["dose_uvi_h"].week.n_days == 7
    assert compared["dose_uvi_h"].month.n_days == 30
    assert {name for name, each in compared.items() if each.unlike} == set()


def test_a_short_weak_late_day_is_unlike_in_just_that():
    late = figures(TODAY, uvi=1.5, from_minute=540, hours=11)
    unlike = {name for name, each in compare_day(TODAY, late, before()).items() if each.unlike}
    assert unlike == {"dose_uvi_h", "mean_uvi_lit", "peak_uvi", "first_light_minute"}


def test_a_change_of_the_local_clock_is_no_change_of_the_light():
    # The clocks went forward on 2024-03-31: the days before have another offset.
    compared = compare_day(date(2024, 4, 2), figures(date(2024, 4, 2)), before(40))
    assert compared["first_light_minute"].unlike is False
    assert compared["first_light_minute"].month.median == pytest.approx(480, abs=2)


def test_a_day_that_was_not_seen_well_is_neither_compared_nor_compared_with():
    assert set(figures(TODAY, seen=0.8).values()) == {None}
    compared = compare_day(TODAY, figures(TODAY), before(seen=0.8))
    assert compared["dose_uvi_h"].month is None
    assert compared["dose_uvi_h"].unlike is None


# The gradient of an enclosure


def test_a_weak_spot_is_the_enclosures_retreat():
    found = gradient({"cave": profile(TODAY, uvi=0.3), "rock": profile(TODAY, uvi=2.4)})
    assert found.spots == ("rock", "cave")
    assert (found.has_retreat, found.retreat) == (True, "cave")
    assert found.sentence == "mean UVI from 2.4 at rock to 0.3 at cave: cave is a retreat"


def test_a_spot_that_stays_dark_is_a_retreat():
    assert gradient({"cave": profile(TODAY, uvi=0.0), "rock": profile(TODAY)}).retreat == "cave"


def test_an_enclosure_that_is_bright_all_over_has_none():
    found = gradient({"log": profile(TODAY, uvi=1.2), "rock": profile(TODAY, uvi=2.4)})
    assert found.has_retreat is False
    assert "shade elsewhere" in found.sentence


def test_a_retreat_must_be_one_beyond_doubt():
    doubtful = {"cave": profile(TODAY, uvi=0.6, u_uvi=0.2), "rock": profile(TODAY)}
    assert gradient(doubtful).has_retreat is False


def test_what_was_not_seen_cannot_be_told():
    assert gradient({"rock": profile(TODAY)}).has_retreat is None
    assert gradient({"rock": profile(TODAY, seen=0.3)}).has_retreat is None
    assert gradient({}).sentence == "no spot was seen for long enough to tell"


def test_spots_are_called_as_the_keeper_calls_them() -> None:
    profiles = {"a": profile(TODAY, uvi=0.3), "is": profile(TODAY, uvi=2.4)}
    found = gradient(profiles, {"a": "Cave mouth", "is": "Slate ledge"})
    assert found.sentence == "mean UVI from 2.4 at Slate ledge to 0.3 at Cave mouth: Cave mouth is a retreat"
