"""The room's random numbers and distance laws against the outside world."""

import numpy as np
import pytest

from exposure.counted_noise import splitmix64
from exposure.room import spread

# First outputs of the reference SplitMix64 for seed 1234567, as published in its task on Rosetta Code
# ("Pseudo-random numbers/Splitmix64") and repeated in the tests of many public implementations.
SPLITMIX64_1234567 = [
    6457827717110365317,
    3203168211198807973,
    9817491932198370423,
    4593380528125082431,
    16408922859458223821,
]


def test_splitmix64_gives_the_published_numbers():
    outputs = splitmix64(1234567, np.arange(5, dtype=np.uint64))
    assert [int(output) for output in outputs] == SPLITMIX64_1234567


# E of a linear lamp, 1 W, by Keitz's formula as printed in a proceedings paper and two technical articles;
# the row at 30 cm confirmed by numerical integration.  Only ratios are ours: length, distance [cm], E [W/m²].
LINEAR_LAMP = [(55, 10, 2.842876), (55, 30, 0.761481), (55, 60, 0.248246)]


def test_a_linear_lamp_falls_off_as_keitz_says():
    _, _, first = LINEAR_LAMP[0]
    for length_cm, distance_cm, irradiance in LINEAR_LAMP[1:]:
        ratio = spread(distance_cm, length_cm) / spread(10, length_cm)
        assert ratio == pytest.approx(irradiance / first, rel=1e-5)


def test_a_linear_lamp_looks_like_a_point_from_afar():
    # At ten lengths away E is 0.99834 of the inverse square (computed).
    ratio = spread(550, 55) / spread(55_000, 55) * (550 / 55_000) ** 2
    assert ratio == pytest.approx(0.99834, rel=1e-4)


def test_a_compact_lamp_follows_the_inverse_square():
    # UVI 3.0 at 30 cm is 6.75 at 20, 1.3333 at 45 and 0.75 at 60 (computed).
    for distance_cm, uvi in ((20, 6.75), (45, 4 / 3), (60, 0.75)):
        assert 3.0 * spread(distance_cm, 0) / spread(30, 0) == pytest.approx(uvi)
