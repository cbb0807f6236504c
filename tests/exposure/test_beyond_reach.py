"""Light beyond what a spot's calibration was compared with: told in time, and told as what it is."""

from datetime import date

import numpy as np
import pytest

from calibrate.calibration import Calibration, Channel, LampFactor, Uncertainty
from calibrate.models import LineModel
from exposure.bands import Band
from exposure.events import EventKind, Severity
from exposure.rules import RuleSettings
from exposure.watch import SpotWatch
from tests.exposure.series import T0_MS, every, samples_of

ZONE_3 = Band(1.0, 2.6, 7.4)
TO_3 = Calibration(
    lamp_kind="t5",
    sensor_kind="guva-s12sd",
    model=LineModel(("uva_counts",), (20.0,), (0.005,)),
    channels=(Channel("uva_counts", noise=1.0),),
    uvi_range=(0.0, 3.0),
    uncertainty=Uncertainty(((0.01, 0.0), (0.0, 1e-8)), reference_relative=0.05, spectral_relative=0.05),
    made_on=date(2026, 5, 1),
    lamp_factors=(LampFactor("mercury-vapour", 2.0, 0.2),),
)


def under(*parts, lamp_kind="t5", calibration=TO_3, band=ZONE_3):
    """Return the events of (minutes, UVI) parts each 10 s, seen through the calibration."""
    uvi = np.concatenate([np.full(round(minutes * 6), float(level)) for minutes, level in parts])
    seen = calibration.convert({"uva_counts": 20 + uvi / 0.005}, lamp_kind=lamp_kind)
    at_ms = every(10, uvi).utc_ms
    watch = SpotWatch("rock", band, RuleSettings(), reach_uvi=calibration.reach_uvi(lamp_kind))
    return [
        event
        for event in watch.observe(samples_of(at_ms, seen.uvi, seen.u_uvi, seen.flags))
        if event.kind in (EventKind.OVER_CEILING, EventKind.ABOVE_BAND)
    ]


def test_light_far_beyond_the_calibrated_range_is_over_the_ceiling_after_a_minute():
    (event,) = under((10, 2.0), (5, 9.0))
    assert (event.severity, event.opened_ms) == (Severity.NOW, T0_MS + 11 * 60_000)
    assert event.sentence == (
        "above the ceiling by a value beyond what was calibrated, at least 9.0 ± 3.3 over 7.4 (k = 2)"
    )
    assert event.evidence["certainty"] == "extrapolated"
    assert event.evidence["flags"] == "above_range"


def test_what_is_over_even_by_the_whole_doubt_is_said_plainly():
    (event,) = under((5, 12.6))
    assert event.evidence["certainty"] == "really"
    assert event.sentence.startswith("above the ceiling, at least 12.6 ")


def test_over_by_less_than_the_ordinary_doubt_stays_probable_beyond_the_range_too():
    # 7.9 less twice its 7 % is 6.8
    (event,) = under((30, 7.9))
    assert (event.severity, event.evidence["certainty"]) == (Severity.TODAY, "probably")
    assert event.opened_ms == T0_MS + 15 * 60_000


def test_a_flash_beyond_the_range_is_no_event():
    assert under((10, 2.0), (0.8, 9.0), (30, 2.0)) == []


def test_half_an_hour_above_the_band_beyond_the_range_is_told_today():
    (event,) = under((40, 4.0), band=Band(1.0, 3.3, 7.4))
    assert (event.kind, event.severity) == (EventKind.ABOVE_BAND, Severity.TODAY)
    assert event.sentence.startswith("above the band by a value beyond what was calibrated, at least 4.0 ± ")


def test_the_reach_follows_the_factor_of_another_lamp_kind():
    assert TO_3.reach_uvi("mercury-vapour") == 6.0
    assert TO_3.reach_uvi("metal-halide") == 3.0
    # 6.7 as the sensor sees it is 13.4: 7.4 beyond the reach of 6 put 1.85 on the 2.84 that the lamp's
    # factor and the meter leave
    (event,) = under((5, 6.7), lamp_kind="mercury-vapour")
    assert event.evidence["certainty"] == "extrapolated"
    assert event.evidence["uvi"] == pytest.approx(13.4)


def test_without_a_reach_the_whole_doubt_counts():
    watch = SpotWatch("rock", ZONE_3, RuleSettings())
    assert watch.observe(every(10, np.full(30, 9.0), 1.6)) == []
