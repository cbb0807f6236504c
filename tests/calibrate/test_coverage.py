"""That intervals hold the truth as often as they say, by simulated keepers.

200 keepers a case, which takes a few seconds; `tests/bench/bench_coverage.py` draws 2,000 and finds 95.6 to
96.0 %.  A keeper's five readings share the meter's error, so the limits here allow for 3 standard errors of
200 independent draws about 95.5 %.
"""

import numpy as np
import pytest

from tests.calibrate.simulated_keeper import Keeper, calibrate, share_covered

WORST, BEST = 0.911, 0.995


@pytest.mark.parametrize(
    "keeper",
    [
        Keeper(model="proportional"),
        Keeper(model="proportional", states_uncertainty=False, meter_resolution_uvi=0.01),
    ],
    ids=["all stated", "only the meter's accuracy stated"],
)
def test_intervals_hold_the_truth_with_mismatch_heat_and_a_meter_that_is_off(keeper):
    assert WORST <= share_covered(keeper, 200, seed=1) <= BEST


def test_the_fits_own_part_holds_without_any_other_error():
    alone = Keeper(
        meter_limits=1e-9, mismatch_relative=0.0, coefficient_per_c=0.0, model="proportional", n_pairs=5
    )
    assert WORST <= share_covered(alone, 200, seed=2) <= 1.0


def test_leaving_out_the_meters_common_error_would_not_hold():
    # What averaging the meter's error away over the pairs would claim, and why it is not done.
    rng = np.random.default_rng(3)
    held = []
    for _ in range(100):
        calibration, counts = calibrate(Keeper(model="proportional", mismatch_relative=0.0), rng)
        converted = calibration.convert(
            {"uva_counts": counts(np.array([4.0]), 30.0), "temperature_c": np.array([30.0])}
        )
        without = np.sqrt(
            converted.u_uvi**2 - (calibration.uncertainty.reference_relative * converted.uvi) ** 2
        )
        held.append(abs(converted.uvi - 4.0) <= 2 * without)
    assert np.mean(held) < 0.7
