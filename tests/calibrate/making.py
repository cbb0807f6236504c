"""Points out of short lists, for tests."""

import numpy as np

from calibrate.points import Points


def make_points(pairs, *, dark=(), u_level=0.0, u_uvi=0.0, temperature_c=None, channels=("uva_counts",)):
    """`pairs` are (level, reference UVI), or (levels, reference UVI) for several channels."""
    k = len(channels)
    levels = np.array([np.atleast_1d(level) for level, _ in pairs], dtype=float)
    reference = np.array([uvi for _, uvi in pairs], dtype=float)
    dark = np.array(dark, dtype=float).reshape(-1, k)
    return Points(
        channels,
        levels,
        np.broadcast_to(np.asarray(u_level, dtype=float).reshape(-1, 1), levels.shape).copy(),
        reference,
        np.broadcast_to(np.asarray(u_uvi, dtype=float), reference.shape).copy(),
        dark,
        np.full_like(dark, np.mean(u_level)),
        "temperature_c" if temperature_c is not None else "",
        None if temperature_c is None else np.array(temperature_c, dtype=float),
    )
