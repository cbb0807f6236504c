"""How often intervals of k = 2 hold the truth, over 2,000 simulated calibrations of each kind of keeper.

Run: python -m tests.bench.bench_coverage [calibrations]
"""

# ruff: noqa: T201 - a benchmark prints what it measured

import sys

from tests.calibrate.simulated_keeper import Keeper, bowed, saturating, share_covered, straight

KEEPERS = {
    "meter within ±10 %, 8 % mismatch, +0.2 %/°C": Keeper(),
    "the same, sensor bends towards its rail": Keeper(response=saturating, n_pairs=9),
    "the same, sensor after a power law": Keeper(response=bowed),
    "the same, nothing stated but the meter's accuracy": Keeper(
        states_uncertainty=False, meter_resolution_uvi=0.01, response=straight
    ),
}


def main() -> None:
    """Print one line for each kind of keeper."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for name, keeper in KEEPERS.items():
        print(f"{share_covered(keeper, n, seed=20260302):7.2%}  {name}, {n} calibrations", flush=True)


if __name__ == "__main__":
    main()
